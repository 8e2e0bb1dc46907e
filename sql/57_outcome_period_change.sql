-- outcome_period_change: change of weight between two periods, by site, for sites that started at different times
-- grain   site × base period × period
-- inputs  reading.participant_period, site_start_period
-- keys    the grain is unique
-- rule    adults at the site of their reading in the base period, seen anywhere in the other; change is 100 times the
--         logarithm of the ratio of weights, in whole thousandths. Only pairs that a comparison asks for: from the
--         period before a start (site_start_period: period before), and from each period to the next before it.
-- reruns  a query: it changes nothing
with
number as (
    select period, row_number() over (order by period) as at from (
        select distinct period from reading.participant_period
    )
),
person as (
    select participant, number.at, period, site, weight_kg
    from reading.participant_period
    join number using (period)
    where age >= 20
),
asked as (
    select distinct base as period from site_start_period
)
select
    earlier.site, earlier.period as base, later.period as period, count(*) as n,
    sum(round(1e5 * ln(later.weight_kg / earlier.weight_kg))::bigint)::double / 1e3 as y,
    sum(pow(round(1e5 * ln(later.weight_kg / earlier.weight_kg)), 2)::bigint)::double / 1e6 as yy
from person as earlier
join person as later on later.participant = earlier.participant and later.at > earlier.at
where (earlier.period in (select period from asked) or later.at = earlier.at + 1)
    and earlier.site in (select site from site_start_period)
group by earlier.site, earlier.period, later.period
order by all;
