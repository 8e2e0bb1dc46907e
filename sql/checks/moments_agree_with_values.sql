-- stop: sums over the sites' moments are the sums over the values of all sites
with by_value as (
    select
        period, sex, age_group.age_from, age_group.age_to, measure,
        sum(n) as n, sum(value::hugeint * n) as sum, sum(value::hugeint * value * n) as sum_of_squares
    from tally.value
    join reference.age_group as age_group on age between age_group.age_from and age_group.age_to
    where not age_group.is_total and ($periods is null or list_contains($periods, period))
    group by all
),
by_moment as (
    select
        period, sex, moment.age_from, moment.age_to, measure,
        sum(n) as n, sum(sum) as sum, sum(sum_of_squares) as sum_of_squares
    from tally.moment as moment
    join reference.age_group as age_group
        on age_group.age_from = moment.age_from and age_group.age_to = moment.age_to and not age_group.is_total
    where $periods is null or list_contains($periods, period)
    group by all
)
select
    period, sex, age_from, age_to, measure,
    by_value.n as values_n, by_moment.n as moments_n, by_value.sum as values_sum, by_moment.sum as moments_sum
from by_value full join by_moment using (period, sex, age_from, age_to, measure)
where (by_value.n, by_value.sum, by_value.sum_of_squares)
    is distinct from (by_moment.n, by_moment.sum, by_moment.sum_of_squares)
order by all;
