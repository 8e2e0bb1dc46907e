-- person_value, person_site (temporary): the measures of each person in a period as whole print steps, a site's rows
-- side by side, and the number of each site
-- grain   participant, without the participant
-- inputs  reading.participant_period; $period
-- keys    none: only counts are made of it
-- rule    print_steps, as in tally.value; a measure that was not taken is null.
--         Ordered by site, so that reading some sites touches only their blocks. Order within a site does not matter to a
--         count. people is site, sex and age in one whole number: counting by it takes a quarter of counting by words.
-- reruns  replaced whole
create or replace temporary table person_site as
select site, row_number() over (order by site) as number, people
from (
    select site, count(*) as people from reading.participant_period where period = $period group by site
);

create or replace temporary table person_value as
select
    site, 256 * (2 * person_site.number + (sex = 'male')::integer) + age as people,
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
from reading.participant_period
join person_site using (site)
where period = $period
order by site;
