-- person_value (temporary): the measures of each person in a period as whole print steps, a site's rows side by side
-- grain   participant × period, without the participant
-- inputs  reading.participant_period; $periods, null for all
-- keys    none: only counts are made of it
-- rule    print_steps, as in tally.value; a measure that was not taken is null.
--         Ordered by site, so that reading one site touches only that site's blocks. Order within a site does not
--         matter to a count. people is period, sex and age in one whole number, as in 30_tally_value.sql.
-- reruns  replaced whole
create or replace temporary table person_value as
with period as (
    select period, row_number() over (order by period) as number
    from (select distinct period from reading.participant_period)
)
select
    site, 256 * (2 * period.number + (sex = 'male')::integer) + age as people,
    print_steps(weight_kg, 10)                      as weight,
    print_steps(height_cm, 10)                      as height,
    print_steps(bmi_kg_m2, 10)                      as bmi,
    print_steps(bmi_z, 100)                         as bmi_z,
    print_steps(body_fat_percent, 10)               as body_fat_percent,
    print_steps(fat_mass_kg, 10)                    as fat_mass,
    print_steps(fat_free_mass_kg, 10)               as fat_free_mass,
    print_steps(muscle_mass_kg, 10)                 as muscle_mass,
    print_steps(total_body_water_kg, 10)            as total_body_water,
    print_steps(total_body_water_percent, 10)       as total_body_water_percent,
    print_steps(water_in_fat_free_mass, 1000)       as water_in_fat_free_mass,
    print_steps(bone_mineral_mass_kg, 10)           as bone_mineral_mass,
    print_steps(basal_metabolic_rate_kcal_d, 1)     as basal_metabolic_rate,
    print_steps(metabolic_age_a, 1)                 as metabolic_age,
    print_steps(visceral_fat_level, 1)              as visceral_fat_level,
    print_steps(fat_mass_index_kg_m2, 10)           as fat_mass_index,
    print_steps(fat_free_mass_index_kg_m2, 10)      as fat_free_mass_index,
    print_steps(muscle_mass_index_kg_m2, 10)        as muscle_mass_index
from reading.participant_period as participant_period
join period on period.period = participant_period.period
where $periods is null or list_contains($periods, period.period)
order by site;
