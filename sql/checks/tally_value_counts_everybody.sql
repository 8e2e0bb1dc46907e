-- stop: tally.value counts every person once for each measure that the person has
with measured as (
    select
        period,
        count(weight_kg) as weight,
        count(height_cm) as height,
        count(bmi_kg_m2) as bmi,
        count(bmi_z) filter (where age between 5 and 19) as bmi_z,
        count(body_fat_percent) as body_fat_percent,
        count(fat_mass_kg) as fat_mass,
        count(fat_free_mass_kg) as fat_free_mass,
        count(muscle_mass_kg) as muscle_mass,
        count(total_body_water_kg) as total_body_water,
        count(total_body_water_percent) as total_body_water_percent,
        count(water_in_fat_free_mass) as water_in_fat_free_mass,
        count(bone_mineral_mass_kg) as bone_mineral_mass,
        count(basal_metabolic_rate_kcal_d) as basal_metabolic_rate,
        count(metabolic_age_a) filter (where age >= 18) as metabolic_age,
        count(visceral_fat_level) filter (where age >= 18) as visceral_fat_level,
        count(fat_mass_index_kg_m2) as fat_mass_index,
        count(fat_free_mass_index_kg_m2) as fat_free_mass_index,
        count(muscle_mass_index_kg_m2) as muscle_mass_index
    from reading.participant_period
    where $periods is null or list_contains($periods, period)
    group by period
),
people as (
    select period, measure, n
    from measured unpivot (n for measure in (* exclude (period)))
    where n > 0
),
tallied as (
    select period, measure, sum(n) as n
    from tally.value
    where $periods is null or list_contains($periods, period)
    group by period, measure
)
select period, measure, people.n as people, tallied.n as tallied
from people full join tallied using (period, measure)
where people.n is distinct from tallied.n
order by all;
