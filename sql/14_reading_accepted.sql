-- reading.accepted: this file's readings in
-- grain   reading
-- inputs  checked, broken_line, repeated_reading (all of this file); $file_id, $site
-- keys    reading_id unique: file_id * 1000000000 + line
-- rule    lines without a reason to hold them that are neither duplicates nor superseded
-- reruns  a file is filed once: ledger.file knows its sha256
insert into reading.accepted by name
select
    $file_id::bigint * 1000000000 + line as reading_id, $file_id as file_id, line, $site as site,
    participant, measured_on, measured_at, period,
    sex, age, age_months, height_cm, weight_kg, clothing_weight_kg, is_athlete_mode, device,
    body_fat_percent, fat_mass_kg, fat_free_mass_kg, muscle_mass_kg, total_body_water_kg,
    total_body_water_percent, bone_mineral_mass_kg, basal_metabolic_rate_kcal_d, metabolic_age_a,
    visceral_fat_level, bmi_printed_kg_m2, resting_heart_rate_per_min, cardio_hours_per_week,
    flags
from checked
where len(codes) = 0
    and line not in (select line from broken_line)
    and line not in (select line from repeated_reading where outcome <> 'accepted');
