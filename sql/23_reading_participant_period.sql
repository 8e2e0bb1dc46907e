-- reading.participant_period: the one reading that counts for a person in a period, with its derived measures
-- grain   participant × period
-- inputs  reading.accepted, touched_period, chosen_reading, changed_person, reference.who_bmi_for_age; $is_whole: touched
--         periods are written whole, or only what changes in them; $first_period, $last_period: some of the periods, null for
--         all
-- keys    (participant, period) unique, neither null
-- rule    The readings of 23_chosen_reading.sql. A derived measure is null where what it is made of was not printed.
--         bmi_z: 5 to 19 years; null at exactly 60 completed months, which the reference does not cover.
--         Others' rows stay as they are. Who counts now is added to changed_person.
--         Periods that are written whole are written some neighbours at a time: then the rows of one stand near each
--         other, and whoever reads one period reads few blocks.
-- reruns  rewrites only the touched periods; twice is the same as once. The order of rows is not promised.
create or replace temp view chosen_person as
with
completed as (
    select
        accepted.* exclude (
            body_fat_percent, fat_mass_kg, fat_free_mass_kg, total_body_water_kg, total_body_water_percent),
        bmi_kg_m2(weight_kg, height_cm) as bmi_kg_m2,
        fat_percent(body_fat_percent, fat_mass_kg, fat_free_mass_kg, weight_kg) as body_fat_percent,
        fat_kg(fat_mass_kg, fat_free_mass_kg, body_fat_percent, weight_kg) as fat_mass_kg,
        fat_free_kg(fat_free_mass_kg, fat_mass_kg, body_fat_percent, weight_kg) as fat_free_mass_kg,
        water_kg(total_body_water_kg, total_body_water_percent, weight_kg) as total_body_water_kg,
        water_percent(total_body_water_percent, total_body_water_kg, weight_kg) as total_body_water_percent
    from reading.accepted as accepted
    where period in (select period from touched_period) and reading_id in (select reading_id from chosen_reading)
)
select
    completed.participant, completed.period, completed.site, completed.reading_id, completed.measured_on,
    completed.sex, completed.age, completed.age_months, completed.device, completed.is_athlete_mode,
    completed.weight_kg, completed.height_cm, completed.bmi_kg_m2,
    who_z(completed.bmi_kg_m2, who.l, who.m, who.s) as bmi_z,
    completed.body_fat_percent, completed.fat_mass_kg, completed.fat_free_mass_kg, completed.muscle_mass_kg,
    completed.total_body_water_kg, completed.total_body_water_percent,
    share(completed.total_body_water_kg, completed.fat_free_mass_kg) as water_in_fat_free_mass,
    completed.bone_mineral_mass_kg, completed.basal_metabolic_rate_kcal_d, completed.metabolic_age_a,
    completed.visceral_fat_level,
    mass_index_kg_m2(completed.fat_mass_kg, completed.height_cm) as fat_mass_index_kg_m2,
    mass_index_kg_m2(completed.fat_free_mass_kg, completed.height_cm) as fat_free_mass_index_kg_m2,
    mass_index_kg_m2(completed.muscle_mass_kg, completed.height_cm) as muscle_mass_index_kg_m2
from completed
left join reference.who_bmi_for_age as who
    on completed.age between 5 and 19
    and who.sex = completed.sex
    and who.month = who_month(completed.age, completed.age_months);

delete from reading.participant_period
where period in (select period from touched_period) and ($first_period is null or period between $first_period and $last_period)
    and ($is_whole or reading_id in (select reading_id from changed_person));

insert into changed_person by name select 1 as change, chosen_person.* from chosen_person where not $is_whole;

insert into reading.participant_period by name select * exclude (change) from changed_person where change = 1;

insert into reading.participant_period by name
select chosen_person.* from chosen_person where $is_whole and ($first_period is null or period between $first_period and $last_period);
