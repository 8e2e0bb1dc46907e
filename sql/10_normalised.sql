-- normalised (temporary): rows in canonical units, of those files of a pass that are written the same way
-- grain   one row of received
-- inputs  received; file_of_pass (file, way, scope of the participant's numbers) and $way; written_quantity (text
--         with its own unit); their profiles as parameters, which are the same: for each quantity its unit's exact
--         factor <field>_times / <field>_over, the number pattern, codes as maps from the file's word, up to four date
--         formats, constants. As columns they would cost more than they save: a pattern that is no constant is
--         compiled for every cell, and a date's format must be one
-- keys    (file, line) unique, not null
-- rule    a field that is absent, blank or a missing mark is null; text that cannot be read for certain is
--         null and its field stands in `unreadable`. Years and completed months of age are floored. A clock
--         time that the file does not give is midnight. Nothing is range-checked here.
-- reruns  adds to 09_normalised.sql: once for every way of writing in a pass
insert into normalised by name
with said as (      -- a constant stands where the profile gives one; then the file does not carry the field
    select
        received.file, received.line, file_of_pass.scope,
        participant as participant_text,
        coalesce(measured_on, $constant_measured_on) as measured_on_text,
        coalesce(sex, $constant_sex) as sex_text,
        coalesce(age, $constant_age) as age_text,
        coalesce(height, $constant_height) as height_text,
        coalesce(weight, $constant_weight) as weight_text,
        coalesce(clothing_weight, $constant_clothing_weight) as clothing_weight_text,
        coalesce(athlete_mode, $constant_athlete_mode) as athlete_mode_text,
        coalesce(device, $constant_device) as device_text,
        coalesce(body_fat_percent, $constant_body_fat_percent) as body_fat_percent_text,
        coalesce(fat_mass, $constant_fat_mass) as fat_mass_text,
        coalesce(fat_free_mass, $constant_fat_free_mass) as fat_free_mass_text,
        coalesce(muscle_mass, $constant_muscle_mass) as muscle_mass_text,
        coalesce(total_body_water, $constant_total_body_water) as total_body_water_text,
        coalesce(total_body_water_percent, $constant_total_body_water_percent) as total_body_water_percent_text,
        coalesce(bone_mineral_mass, $constant_bone_mineral_mass) as bone_mineral_mass_text,
        coalesce(basal_metabolic_rate, $constant_basal_metabolic_rate) as basal_metabolic_rate_text,
        coalesce(metabolic_age, $constant_metabolic_age) as metabolic_age_text,
        coalesce(visceral_fat_level, $constant_visceral_fat_level) as visceral_fat_level_text,
        coalesce(bmi, $constant_bmi) as bmi_text,
        coalesce(resting_heart_rate, $constant_resting_heart_rate) as resting_heart_rate_text,
        coalesce(cardio_hours_per_week, $constant_cardio_hours_per_week) as cardio_hours_per_week_text,
        written_quantity.height_cm as written_height_cm,
        written_quantity.weight_kg as written_weight_kg,
        written_quantity.clothing_weight_kg as written_clothing_weight_kg,
        written_quantity.fat_mass_kg as written_fat_mass_kg,
        written_quantity.fat_free_mass_kg as written_fat_free_mass_kg,
        written_quantity.muscle_mass_kg as written_muscle_mass_kg,
        written_quantity.total_body_water_kg as written_total_body_water_kg,
        written_quantity.bone_mineral_mass_kg as written_bone_mineral_mass_kg
    from received
    join file_of_pass on file_of_pass.file = received.file and file_of_pass.way = $way
    left join written_quantity on written_quantity.file = received.file and written_quantity.line = received.line
),
-- a keyed hash costs more than the rest of a row, and people come back: once a number and not once a row
numbered as (
    select
        scope, participant_text,
        case when is_present(participant_text, $missing)
            then pseudonym($inner_pad, $outer_pad, scope, received_participant(participant_text))
        end as participant
    from (
        select distinct file_of_pass.scope, received.participant as participant_text
        from received
        join file_of_pass on file_of_pass.file = received.file and file_of_pass.way = $way
    )
),
quantified as (
    select
        said.*,
        numbered.participant,
        received_moment(measured_on_text, $format_1, $format_2, $format_3, $format_4,
            $zone_1, $zone_2, $zone_3, $zone_4, $is_iso_allowed) as measured_at,
        received_code(sex_text, $sex_codes) as sex,
        received_number(age_text, $number_pattern, $decimal, $thousands) as age_in_file,
        coalesce(received_number(height_text, $number_pattern, $decimal, $thousands)
            * $height_times / $height_over, written_height_cm) as height_cm,
        coalesce(received_number(weight_text, $number_pattern, $decimal, $thousands)
            * $weight_times / $weight_over, written_weight_kg) as weight_kg,
        coalesce(received_number(clothing_weight_text, $number_pattern, $decimal, $thousands)
            * $clothing_weight_times / $clothing_weight_over, written_clothing_weight_kg) as clothing_weight_kg,
        received_code(athlete_mode_text, $athlete_mode_codes) as athlete_mode,
        case when is_present(device_text, $missing) then received_name(device_text) end as device,
        received_share(body_fat_percent_text, $number_pattern, $decimal, $thousands)
            * $body_fat_percent_times / $body_fat_percent_over as body_fat_percent,
        coalesce(received_number(fat_mass_text, $number_pattern, $decimal, $thousands)
            * $fat_mass_times / $fat_mass_over, written_fat_mass_kg) as fat_mass_kg,
        coalesce(received_number(fat_free_mass_text, $number_pattern, $decimal, $thousands)
            * $fat_free_mass_times / $fat_free_mass_over, written_fat_free_mass_kg) as fat_free_mass_kg,
        coalesce(received_number(muscle_mass_text, $number_pattern, $decimal, $thousands)
            * $muscle_mass_times / $muscle_mass_over, written_muscle_mass_kg) as muscle_mass_kg,
        coalesce(received_number(total_body_water_text, $number_pattern, $decimal, $thousands)
            * $total_body_water_times / $total_body_water_over, written_total_body_water_kg) as total_body_water_kg,
        received_share(total_body_water_percent_text, $number_pattern, $decimal, $thousands)
            * $total_body_water_percent_times / $total_body_water_percent_over as total_body_water_percent,
        coalesce(received_number(bone_mineral_mass_text, $number_pattern, $decimal, $thousands)
            * $bone_mineral_mass_times / $bone_mineral_mass_over, written_bone_mineral_mass_kg) as bone_mineral_mass_kg,
        received_number(basal_metabolic_rate_text, $number_pattern, $decimal, $thousands)
            * $basal_metabolic_rate_times / $basal_metabolic_rate_over as basal_metabolic_rate_kcal_d,
        received_number(metabolic_age_text, $number_pattern, $decimal, $thousands)
            * $metabolic_age_times / $metabolic_age_over as metabolic_age_a,
        received_number(visceral_fat_level_text, $number_pattern, $decimal, $thousands)
            * $visceral_fat_level_times / $visceral_fat_level_over as visceral_fat_level,
        received_number(bmi_text, $number_pattern, $decimal, $thousands)
            * $bmi_times / $bmi_over as bmi_printed_kg_m2,
        received_number(resting_heart_rate_text, $number_pattern, $decimal, $thousands)
            * $resting_heart_rate_times / $resting_heart_rate_over as resting_heart_rate_per_min,
        received_number(cardio_hours_per_week_text, $number_pattern, $decimal, $thousands)
            * $cardio_hours_per_week_times / $cardio_hours_per_week_over as cardio_hours_per_week
    from said
    left join numbered on numbered.scope = said.scope and numbered.participant_text = said.participant_text
)
select
    file, line,
    participant,
    measured_at::date as measured_on,
    measured_at,
    period_of(measured_at, $period_kind) as period,
    sex,
    whole_number(case when $age_is_in_months then age_in_file / 12 else age_in_file end) as age,
    case when $age_is_in_months then whole_number(age_in_file) end as age_months,
    height_cm,
    weight_kg,
    clothing_weight_kg,
    athlete_mode = 'yes' as is_athlete_mode,
    device,
    body_fat_percent,
    fat_mass_kg,
    fat_free_mass_kg,
    muscle_mass_kg,
    total_body_water_kg,
    total_body_water_percent,
    bone_mineral_mass_kg,
    basal_metabolic_rate_kcal_d,
    metabolic_age_a,
    visceral_fat_level,
    bmi_printed_kg_m2,
    resting_heart_rate_per_min,
    cardio_hours_per_week,
    list_filter([
        unread('participant', participant, participant_text, $missing),
        unread('measured_on', measured_at, measured_on_text, $missing),
        unread('sex', sex, sex_text, $missing),
        unread('age', age_in_file, age_text, $missing),
        unread('height', height_cm, height_text, $missing),
        unread('weight', weight_kg, weight_text, $missing),
        unread('clothing_weight', clothing_weight_kg, clothing_weight_text, $missing),
        unread('athlete_mode', athlete_mode, athlete_mode_text, $missing),
        unread('device', device, device_text, $missing),
        unread('body_fat_percent', body_fat_percent, body_fat_percent_text, $missing),
        unread('fat_mass', fat_mass_kg, fat_mass_text, $missing),
        unread('fat_free_mass', fat_free_mass_kg, fat_free_mass_text, $missing),
        unread('muscle_mass', muscle_mass_kg, muscle_mass_text, $missing),
        unread('total_body_water', total_body_water_kg, total_body_water_text, $missing),
        unread('total_body_water_percent', total_body_water_percent, total_body_water_percent_text, $missing),
        unread('bone_mineral_mass', bone_mineral_mass_kg, bone_mineral_mass_text, $missing),
        unread('basal_metabolic_rate', basal_metabolic_rate_kcal_d, basal_metabolic_rate_text, $missing),
        unread('metabolic_age', metabolic_age_a, metabolic_age_text, $missing),
        unread('visceral_fat_level', visceral_fat_level, visceral_fat_level_text, $missing),
        unread('bmi', bmi_printed_kg_m2, bmi_text, $missing),
        unread('resting_heart_rate', resting_heart_rate_per_min, resting_heart_rate_text, $missing),
        unread('cardio_hours_per_week', cardio_hours_per_week, cardio_hours_per_week_text, $missing)
    ], lambda field: field is not null) as unreadable
from quantified;
