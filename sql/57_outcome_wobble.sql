with
reach as (
    select
        3 * 1.4826 * median(off_weight) as weight, 3 * 1.4826 * median(off_percent) as body_fat_percent,
        3 * 1.4826 * median(off_fat) as fat_mass, 3 * 1.4826 * median(off_fat_free) as fat_free_mass
    from outcome_visit
),
summed as (
    select
        wobble_of(off_weight, reach.weight, weight_kg) as weight,
        wobble_of(off_percent, reach.body_fat_percent, outcome_visit.body_fat_percent) as body_fat_percent,
        wobble_of(off_fat, reach.fat_mass, fat_mass_kg) as fat_mass,
        wobble_of(off_fat_free, reach.fat_free_mass, fat_free_mass_kg) as fat_free_mass
    from outcome_visit
    cross join reach
)
select
    measure, wobble.n as n, wobble.rr::double / 1e6 as rr, wobble.v::double / 1e3 as v, wobble.vv::double / 1e6 as vv
from summed unpivot (wobble for measure in (weight, body_fat_percent, fat_mass, fat_free_mass))
where n > 0
order by measure;
