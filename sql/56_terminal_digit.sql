-- terminal_digit: how many readings end in each digit, in the unit in which they were read
-- grain   site × period × measure × digit; period null for all periods
-- inputs  reading.accepted; printed_step (lent by pipeline/results/instrument_check.py): site, measure, steps
-- keys    the grain is unique
-- rule    steps is how many printed steps make one canonical unit; only sites whose steps count in tens are lent.
--         Every weight counts; a height counts once a person, site and period (or once altogether): an adult's height
--         is the same each time, and would count its digit again.
-- reruns  a query: it changes nothing
with
printed as (
    select reading.site, reading.period, reading.participant, reading.reading_id, 'weight' as measure,
        round(reading.weight_kg * printed_step.steps)::bigint % 10 as digit
    from reading.accepted as reading
    join printed_step on printed_step.site = reading.site and printed_step.measure = 'weight'
    union all
    select reading.site, reading.period, reading.participant, reading.reading_id, 'height',
        round(reading.height_cm * printed_step.steps)::bigint % 10
    from reading.accepted as reading
    join printed_step on printed_step.site = reading.site and printed_step.measure = 'height'
),
counted as (
    select site, period, measure, digit from printed where measure = 'weight'
    union all
    select site, null, measure, digit from printed where measure = 'weight'
    union all
    select site, period, measure, arg_min(digit, reading_id)
    from printed where measure = 'height' group by site, period, measure, participant
    union all
    select site, null, measure, arg_min(digit, reading_id)
    from printed where measure = 'height' group by site, measure, participant
)
select site, period, measure, digit, count(*) as n
from counted
group by site, period, measure, digit
order by site, period nulls first, measure, digit;
