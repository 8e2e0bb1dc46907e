-- terminal_digit: how many readings end in each digit, in the unit in which they were read
-- grain   site × period × measure × digit; period null for all periods
-- inputs  reading.accepted; printed_step (lent by pipeline/results/instrument_check.py): site, weight, height: how many
--         printed steps make one canonical unit, null where that does not count in tens; $periods: those of which rows
--         are wanted beside the rows of all periods, or null for each
-- keys    the grain is unique
-- rule    Every weight counts; a height counts once a person, site and period (or once altogether): an adult's height
--         is the same each time, and would count its digit again. Weights are counted once for all periods and each;
--         digits of heights are taken from the few that count.
-- reruns  a query: it changes nothing
with
weight as (
    select
        reading.site, reading.period, (round(reading.weight_kg * printed_step.weight)::bigint % 10)::tinyint as digit,
        count(*) as n
    from reading.accepted as reading
    join printed_step on printed_step.site = reading.site
    where printed_step.weight is not null
    group by all
),
first_height as (
    select site, null as period, arg_min(height_cm, reading_id) as height_cm
    from reading.accepted
    group by site, participant
    union all
    select site, period, arg_min(height_cm, reading_id)
    from reading.accepted
    where $periods is null or list_contains($periods, period)
    group by site, period, participant
)
select site, null as period, 'weight' as measure, digit, sum(n)::bigint as n from weight group by site, digit
union all
select site, period, 'weight', digit, n from weight where $periods is null or list_contains($periods, period)
union all
select
    first_height.site, first_height.period, 'height',
    (round(first_height.height_cm * printed_step.height)::bigint % 10)::tinyint as digit, count(*)
from first_height
join printed_step on printed_step.site = first_height.site
where printed_step.height is not null
group by all
order by site, period nulls first, measure, digit;
