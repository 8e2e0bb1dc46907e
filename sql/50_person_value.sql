-- person_value, person_site (temporary): the measures of each person in a period as whole print steps, a site's rows
-- side by side, and the number of each site
-- grain   participant, without the participant
-- inputs  reading.participant_period; $period
-- keys    none: only counts are made of it
-- rule    print_steps, as in tally.value; a measure that was not taken, or does not apply at the age, is null.
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
    weight, height, bmi, bmi_z, body_fat_percent, fat_mass, fat_free_mass, muscle_mass, total_body_water,
    total_body_water_percent, water_in_fat_free_mass, bone_mineral_mass, basal_metabolic_rate, metabolic_age,
    visceral_fat_level, fat_mass_index, fat_free_mass_index, muscle_mass_index
from people_in_steps('reading.participant_period')
join person_site using (site)
where period = $period
order by site;
