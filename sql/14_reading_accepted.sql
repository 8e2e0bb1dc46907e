-- reading.accepted: the readings of this pass in
-- grain   reading
-- inputs  entered (file, file_id, site: those files that are filed), checked, broken_line, repeated_reading (all of
--         this pass)
-- keys    reading_id unique: file_id * 1000000000 + line
-- rule    lines without a reason to hold them that are neither duplicates nor superseded
-- reruns  a file is filed once: ledger.file knows its sha256
insert into reading.accepted by name
select
    entered.file_id::bigint * 1000000000 + checked.line as reading_id, entered.file_id, checked.line, entered.site,
    participant, measured_on, measured_at, period,
    sex, age, age_months, height_cm, weight_kg, clothing_weight_kg, is_athlete_mode, device,
    body_fat_percent, fat_mass_kg, fat_free_mass_kg, muscle_mass_kg, total_body_water_kg,
    total_body_water_percent, bone_mineral_mass_kg, basal_metabolic_rate_kcal_d, metabolic_age_a,
    visceral_fat_level, bmi_printed_kg_m2, resting_heart_rate_per_min, cardio_hours_per_week,
    flags
from checked
join entered on entered.file = checked.file
anti join broken_line as broken on broken.file = checked.file and broken.line = checked.line
anti join (select file, line from repeated_reading where outcome <> 'accepted') as other
    on other.file = checked.file and other.line = checked.line
where len(checked.codes) = 0;
