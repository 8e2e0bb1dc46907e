-- repeated_reading (temporary): readings that stand more than once, and what becomes of each
-- grain   one acceptable line of this file, or one reading of the store, whose identity stands more than once
-- inputs  repeated_identity, checked (this file), broken_line, reading.accepted of the site; $site
-- keys    (participant, measured_at, line) unique; line 0 is the reading in the store (reading_id not null)
-- rule    a reading is (site, participant, measured_at). In the order store, then line by line: the same values
--         again are a duplicate; other values are a correction, which supersedes all before it. Held lines take
--         no part. Values are compared exactly, nulls being equal to each other; flags are not values.
-- reruns  made anew for every file
create or replace temp table repeated_reading as
with rival as (
    select
        0 as line, reading_id, file_id, participant, measured_at,
        sex, age, age_months, height_cm, weight_kg, clothing_weight_kg, is_athlete_mode, device,
        body_fat_percent, fat_mass_kg, fat_free_mass_kg, muscle_mass_kg, total_body_water_kg,
        total_body_water_percent, bone_mineral_mass_kg, basal_metabolic_rate_kcal_d, metabolic_age_a,
        visceral_fat_level, bmi_printed_kg_m2, resting_heart_rate_per_min, cardio_hours_per_week
    from reading.accepted
    semi join repeated_identity using (participant, measured_at)
    where site = $site
    union all
    select
        line, null as reading_id, null as file_id, participant, measured_at,
        sex, age, age_months, height_cm, weight_kg, clothing_weight_kg, is_athlete_mode, device,
        body_fat_percent, fat_mass_kg, fat_free_mass_kg, muscle_mass_kg, total_body_water_kg,
        total_body_water_percent, bone_mineral_mass_kg, basal_metabolic_rate_kcal_d, metabolic_age_a,
        visceral_fat_level, bmi_printed_kg_m2, resting_heart_rate_per_min, cardio_hours_per_week
    from checked
    semi join repeated_identity using (participant, measured_at)
    where len(codes) = 0 and line not in (select line from broken_line)
),
valued as (
    select
        line, reading_id, file_id, participant, measured_at,
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
        line, reading_id, file_id, participant, measured_at,
        coalesce(reading_values is not distinct from lag(reading_values) over one_by_one, false)
            and row_number() over one_by_one > 1 as is_same_again
    from valued
    window one_by_one as (partition by participant, measured_at order by line)
)
select
    line, reading_id, file_id, participant, measured_at,
    case
        when is_same_again then 'duplicate'
        when count(*) filter (where not is_same_again) over later > 0 then 'superseded'
        else 'accepted'
    end as outcome
from compared
window later as (
    partition by participant, measured_at order by line
    rows between 1 following and unbounded following
);
