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
    numbered_site.number as site, 256 * (sex = 'male')::integer + age as people, 1::tinyint as change,
    weight, height, bmi, bmi_z, body_fat_percent, fat_mass, fat_free_mass, muscle_mass, total_body_water,
    total_body_water_percent, water_in_fat_free_mass, bone_mineral_mass, basal_metabolic_rate, metabolic_age,
    visceral_fat_level, fat_mass_index, fat_free_mass_index, muscle_mass_index
from people_in_steps('reading.participant_period')
join numbered_site using (site)
semi join last_reading using (participant, period);
