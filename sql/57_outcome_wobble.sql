-- outcome_wobble: how far a visit lies off the straight line between the visits before and after it
-- grain   measure
-- inputs  reading.visit
-- keys    measure unique
-- rule    three visits in a row of an adult, the outer ones not too far apart and on three different days. With
--         f the share of the time gone at the middle one, r = x2 − (1 − f)·x1 − f·x3 has variance
--         σ²(1 + (1 − f)² + f²); off_… is |r| over the root of that bracket, and rr sums its square: the mean is σ².
--         What lies beyond three times 1.4826 × the median is drawn in to there: one forgotten coat must not make
--         everybody unsteady. v, vv: the values in the middle. Whole thousandths before.
-- reruns  a query: it changes nothing
with
reach as (
    select
        3 * 1.4826 * median(off_weight) as weight, 3 * 1.4826 * median(off_percent) as body_fat_percent,
        3 * 1.4826 * median(off_fat) as fat_mass, 3 * 1.4826 * median(off_fat_free) as fat_free_mass
    from reading.visit
),
summed as (
    select
        wobble_of(off_weight, reach.weight, weight_kg) as weight,
        wobble_of(off_percent, reach.body_fat_percent, visit.body_fat_percent) as body_fat_percent,
        wobble_of(off_fat, reach.fat_mass, fat_mass_kg) as fat_mass,
        wobble_of(off_fat_free, reach.fat_free_mass, fat_free_mass_kg) as fat_free_mass
    from reading.visit as visit
    cross join reach
    where off_weight is not null or off_percent is not null
)
select
    measure, wobble.n as n, wobble.rr::double / 1e6 as rr, wobble.v::double / 1e3 as v, wobble.vv::double / 1e6 as vv
from summed unpivot (wobble for measure in (weight, body_fat_percent, fat_mass, fat_free_mass))
where n > 0
order by measure;
