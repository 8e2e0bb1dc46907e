-- reading.participant_period: the one reading that counts for a person in a period, with its derived measures
-- grain   participant × period
-- inputs  reading.accepted, reading.set_aside, touched_period, touched_participant, reference.who_bmi_for_age;
--         $is_whole: touched periods whole, or only the people in them whom new files touched
-- keys    (participant, period) unique, neither null
-- rule    Last eligible reading; two at the same moment (at two sites) go by site, then by the higher reading_id,
--         so a rebuild gives the same rows. Someone seen at two sites counts once, at the site of the chosen reading.
--         A derived measure is null where what it is made of was not printed. bmi_z: 5 to 19 years; null at exactly
--         60 completed months, which the reference does not cover.
--         Only a person's own readings decide which of them counts, so that others' rows stay as they are. Someone whose
--         last reading of a period left is in no file any more: the row goes.
-- reruns  rewrites only the touched periods; twice is the same as once. The order of rows is not promised.
delete from reading.participant_period
where period in (select period from touched_period)
    and (
        $is_whole
        or participant in (select participant from touched_participant where not $is_whole)
        or reading_id not in (
            select reading_id from reading.accepted
            where period in (select period from touched_period) and not $is_whole
        )
    );

insert into reading.participant_period (
    participant, period, site, reading_id, measured_on, sex, age, age_months, device, is_athlete_mode,
    weight_kg, height_cm, bmi_kg_m2, bmi_z, body_fat_percent, fat_mass_kg, fat_free_mass_kg, muscle_mass_kg,
    total_body_water_kg, total_body_water_percent, water_in_fat_free_mass, bone_mineral_mass_kg,
    basal_metabolic_rate_kcal_d, metabolic_age_a, visceral_fat_level,
    fat_mass_index_kg_m2, fat_free_mass_index_kg_m2, muscle_mass_index_kg_m2
)
with
eligible as (
    select reading_id, participant, period, measured_at, site
    from reading.accepted
    where period in (select period from touched_period)
        and ($is_whole or participant in (select participant from touched_participant where not $is_whole))
        and reading_id not in (select reading_id from reading.set_aside)
),
chosen as (
    select reading_id
    from eligible
    qualify row_number() over (
        partition by participant, period order by measured_at desc, site, reading_id desc
    ) = 1
),
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
    where reading_id in (select reading_id from chosen)
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
