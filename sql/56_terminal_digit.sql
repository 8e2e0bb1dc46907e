-- terminal_digit: how many readings end in each digit, in the unit in which they were read
-- grain   site × period × measure × digit; period null for all periods
-- inputs  reading.accepted; printed_step (lent by pipeline/results/instrument_check.py): site, weight, height: how many
--         printed steps make one canonical unit, null where that does not count in tens; $periods: those of which rows
--         are wanted beside the rows of all periods, or null for each
-- keys    the grain is unique
-- rule    Every weight counts; a height counts once a person, site and period (or once altogether): an adult's height
--         is the same each time, and would count its digit again.
-- reruns  a query: it changes nothing
with
printed as (
    select
        reading.site, reading.period, reading.participant, reading.reading_id,
        (round(reading.weight_kg * printed_step.weight)::bigint % 10)::tinyint as weight,
        (round(reading.height_cm * printed_step.height)::bigint % 10)::tinyint as height,
        $periods is null or list_contains($periods, reading.period) as is_wanted
    from reading.accepted as reading
    join printed_step on printed_step.site = reading.site
),
first_height as (
    select site, null as period, arg_min(height, reading_id) as height
    from printed where height is not null
    group by site, participant
    union all
    select site, period, arg_min(height, reading_id)
    from printed where height is not null and is_wanted
    group by site, period, participant
)
select site, null as period, 'weight' as measure, weight as digit, count(*) as n
from printed where weight is not null
group by site, weight
union all
select site, period, 'weight', weight, count(*) from printed where weight is not null and is_wanted
group by site, period, weight
union all
select site, period, 'height', height, count(*) from first_height
group by site, period, height
order by site, period nulls first, measure, digit;
