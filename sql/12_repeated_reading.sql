-- repeated_reading (temporary): readings that stand more than once, and what becomes of each
-- grain   one acceptable line of a file, or one reading of the store, whose identity stands more than once
-- inputs  repeated_identity, entered, checked, broken_line (all of this pass), reading.accepted
-- keys    (site, participant, measured_at, file, line) unique; file 0 is the reading in the store (reading_id not null)
-- rule    a reading is (site, participant, measured_at). In the order store, then file by file, then line by line: the
--         same values again are a duplicate; other values are a correction, which supersedes all before it. Held lines
--         take no part. Values are compared exactly, nulls being equal to each other; flags are not values.
--         replaced_by: the file whose correction superseded a reading that stood until then; null where the correction
--         stands in the same file, so that one file after the other would have counted the same
-- reruns  made anew for every pass
create or replace temp table repeated_reading as
with rival as (
    select
        0 as file, 0 as line, reading_id, file_id, site, participant, measured_at,
        sex, age, age_months, height_cm, weight_kg, clothing_weight_kg, is_athlete_mode, device,
        body_fat_percent, fat_mass_kg, fat_free_mass_kg, muscle_mass_kg, total_body_water_kg,
        total_body_water_percent, bone_mineral_mass_kg, basal_metabolic_rate_kcal_d, metabolic_age_a,
        visceral_fat_level, bmi_printed_kg_m2, resting_heart_rate_per_min, cardio_hours_per_week
    from reading.accepted
    semi join repeated_identity using (site, participant, measured_at)
    union all
    select
        file, line, null as reading_id, null as file_id, site, participant, measured_at,
        sex, age, age_months, height_cm, weight_kg, clothing_weight_kg, is_athlete_mode, device,
        body_fat_percent, fat_mass_kg, fat_free_mass_kg, muscle_mass_kg, total_body_water_kg,
        total_body_water_percent, bone_mineral_mass_kg, basal_metabolic_rate_kcal_d, metabolic_age_a,
        visceral_fat_level, bmi_printed_kg_m2, resting_heart_rate_per_min, cardio_hours_per_week
    from checked
    join entered using (file)
    semi join repeated_identity using (site, participant, measured_at)
    anti join broken_line using (file, line)
    where len(codes) = 0
),
valued as (
    select
        file, line, reading_id, file_id, site, participant, measured_at,
        row(
            sex, age, age_months, height_cm, weight_kg, clothing_weight_kg, is_athlete_mode, device,
            body_fat_percent, fat_mass_kg, fat_free_mass_kg, muscle_mass_kg, total_body_water_kg,
            total_body_water_percent, bone_mineral_mass_kg, basal_metabolic_rate_kcal_d, metabolic_age_a,
            visceral_fat_level, bmi_printed_kg_m2, resting_heart_rate_per_min, cardio_hours_per_week
        ) as reading_values
    from rival
),
compared as (
    select
        file, line, reading_id, file_id, site, participant, measured_at,
        coalesce(reading_values is not distinct from lag(reading_values) over one_by_one, false)
            and row_number() over one_by_one > 1 as is_same_again
    from valued
    window one_by_one as (partition by site, participant, measured_at order by file, line)
),
followed as (
    select
        file, line, reading_id, file_id, is_same_again,
        min(file) filter (where not is_same_again) over later as corrected_by
    from compared
    window later as (
        partition by site, participant, measured_at order by file, line
        rows between 1 following and unbounded following
    )
)
select
    file, line, reading_id, file_id,
    case
        when is_same_again then 'duplicate'
        when corrected_by is not null then 'superseded'
        else 'accepted'
    end as outcome,
    case when not is_same_again and corrected_by <> file then corrected_by end as replaced_by
from followed;
