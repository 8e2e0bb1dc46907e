-- last_person_value (temporary): each person once, by their last counted reading, as whole print steps
-- grain   participant, without the participant
-- inputs  reading.participant_period
-- keys    none: only counts are made of it
-- rule    the reading of the person's last period; it stands at the site and the age of that reading. print_steps, as in
--         tally.value; a measure that was not taken, or does not apply at the age, is null. people is sex and age in one
--         whole number, 256 for male plus the age, and site the site's number in order of name, from 0: counting by
--         them is several times faster than by words.
-- reruns  replaced whole; whoever adds up sites under the curves drops it (pipeline/results/curve.py)
create or replace temporary table last_person_value as
with
last_reading as (
    select participant, max(period) as period from reading.participant_period group by participant
),
numbered_site as (
    select site, (row_number() over (order by site) - 1)::integer as number
    from (select distinct site from reading.participant_period)
)
select
    numbered_site.number as site, 256 * (sex = 'male')::integer + age as people,
    print_steps(weight_kg, 10)                      as weight,
    print_steps(height_cm, 10)                      as height,
    print_steps(bmi_kg_m2, 10)                      as bmi,
    case when age <= 19 then print_steps(bmi_z, 100) end as bmi_z,
    print_steps(body_fat_percent, 10)               as body_fat_percent,
    print_steps(fat_mass_kg, 10)                    as fat_mass,
    print_steps(fat_free_mass_kg, 10)               as fat_free_mass,
    print_steps(muscle_mass_kg, 10)                 as muscle_mass,
    print_steps(total_body_water_kg, 10)            as total_body_water,
    print_steps(total_body_water_percent, 10)       as total_body_water_percent,
    print_steps(water_in_fat_free_mass, 1000)       as water_in_fat_free_mass,
    print_steps(bone_mineral_mass_kg, 10)           as bone_mineral_mass,
    print_steps(basal_metabolic_rate_kcal_d, 1)     as basal_metabolic_rate,
    case when age >= 18 then print_steps(metabolic_age_a, 1) end as metabolic_age,
    case when age >= 18 then print_steps(visceral_fat_level, 1) end as visceral_fat_level,
    print_steps(fat_mass_index_kg_m2, 10)           as fat_mass_index,
    print_steps(fat_free_mass_index_kg_m2, 10)      as fat_free_mass_index,
    print_steps(muscle_mass_index_kg_m2, 10)        as muscle_mass_index
from reading.participant_period
join numbered_site using (site)
semi join last_reading using (participant, period);
