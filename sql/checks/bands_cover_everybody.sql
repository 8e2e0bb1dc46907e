-- stop: everyone with a measure, at the banding's ages, is in one band of it, and once
with eligible as (
    select
        period,
        count(*) filter (where age between 20 and 99) as bmi_adult,
        count(*) filter (where age between 20 and 99) as bmi_adult_asian,
        count(bmi_z) filter (where age between 5 and 19) as bmi_child,
        count(total_body_water_percent) filter (where age between 18 and 99) as hydration,
        count(visceral_fat_level) filter (where age between 18 and 99) as visceral_fat,
        count(body_fat_percent) filter (where age between 20 and 79) as body_fat,
        count(fat_mass_index_kg_m2 + fat_free_mass_index_kg_m2) filter (where age between 18 and 99) as fat_lean
    from reading.participant_period
    where $periods is null or list_contains($periods, period)
    group by period
),
people as (
    select period, banding, n
    from eligible unpivot (n for banding in (* exclude (period)))
    where n > 0
),
banded as (
    select period, banding, sum(n) as n
    from tally.band
    where $periods is null or list_contains($periods, period)
    group by period, banding
)
select period, banding, people.n as people, banded.n as banded
from people full join banded using (period, banding)
where people.n is distinct from banded.n
order by all;
