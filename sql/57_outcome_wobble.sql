-- outcome_wobble: how far a visit lies off the straight line between the visits before and after it
-- grain   measure
-- inputs  outcome_visit; $most_days
-- keys    measure unique
-- rule    three visits in a row of an adult, the outer ones at most $most_days apart and on three different days. With
--         f the share of the time gone at the middle one, r = x2 − (1 − f)·x1 − f·x3 has variance
--         σ²(1 + (1 − f)² + f²), so rr sums r² over that bracket: its mean is σ². r beyond three times 1.4826 × the
--         median of |r| is drawn in to there: one forgotten coat must not make everybody unsteady. Whole thousandths.
-- reruns  a query: it changes nothing
with
value as (
    select participant, visit, days, measure, value
    from (
        select participant, visit, days, weight_kg as weight, body_fat_percent, fat_mass_kg as fat_mass,
            fat_free_mass_kg as fat_free_mass
        from outcome_visit
        where entry_age >= 20
    ) unpivot (value for measure in (weight, body_fat_percent, fat_mass, fat_free_mass))
),
three as (
    select
        measure, value,
        lag(value) over around as before, lead(value) over around as after,
        days - lag(days) over around as days_before, lead(days) over around - days as days_after
    from value
    window around as (partition by participant, measure order by visit)
),
off_line as (
    select
        measure, value,
        days_before::double / (days_before + days_after) as f,
        (value - (1 - f) * before - f * after) / sqrt(1 + (1 - f) * (1 - f) + f * f) as r
    from three
    where days_before > 0 and days_after > 0 and days_before + days_after <= $most_days
),
reach as (
    select measure, 3 * 1.4826 * median(abs(r)) as most from off_line group by measure
)
select
    measure, count(*) as n,
    sum(pow(round(1000 * least(reach.most, abs(r))), 2)::bigint)::double / 1e6 as rr,
    sum(round(1000 * value)::bigint)::double / 1e3 as v,
    sum(pow(round(1000 * value), 2)::bigint)::double / 1e6 as vv
from off_line
join reach using (measure)
group by measure
order by measure;
