-- reading.accepted: this file's readings in, those that they supersede out
-- grain   reading
-- inputs  checked, broken_line, repeated_reading (all of this file); $file_id, $site
-- keys    reading_id unique: file_id * 1000000000 + line
-- rule    lines without a reason to hold them that are neither duplicates nor superseded. A superseded reading
--         leaves with all that was set aside of it; its file counts one accepted less, one superseded more, and
--         ledger.unaccepted_row says so of its line.
-- reruns  a file is filed once: ledger.file knows its sha256
update ledger.file
set
    rows_accepted = rows_accepted - superseded.n,
    rows_superseded = rows_superseded + superseded.n
from (
    select file_id, count(*) as n from repeated_reading
    where outcome = 'superseded' and reading_id is not null group by file_id
) as superseded
where file.file_id = superseded.file_id;

insert into ledger.unaccepted_row (file_id, line, participant, outcome)
select file_id, line, participant, 'superseded'
from reading.accepted
where reading_id in (select reading_id from repeated_reading where outcome = 'superseded' and reading_id is not null);

delete from reading.set_aside
where reading_id in (select reading_id from repeated_reading where outcome = 'superseded' and reading_id is not null);

delete from reading.accepted
where reading_id in (select reading_id from repeated_reading where outcome = 'superseded' and reading_id is not null);

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
