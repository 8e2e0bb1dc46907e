-- checked (temporary): the readings of a pass with what each has wrong
-- grain   line of a file
-- inputs  normalised (canonical units, unrounded), file_facts (print steps, the day of the file's run)
-- keys    (file, line), as in normalised: every row comes out once
-- rule    codes: reasons to hold the row, most serious first; a consequence of a listed fault is not listed.
--         flags: accepted all the same. Codes are declared in pipeline/checks.py. A missing optional value is no
--         fault; a value out of range takes no part in the comparisons between fields.
--         proposal: a correction in words, only where one explanation fits; it is never applied.
-- reruns  replaced whole

-- Rows whose height and weight cannot both be right as they stand, with the one unit slip or exchange that
-- would set them right: in the units that the file writes in. Few rows, so each is tried against every explanation.
create or replace temp table slip as
with witnessed as (
    select
        file, line, sex, age, height_cm, weight_kg, height_step, weight_step, mass_step, bmi_step, has_inches, has_pounds,
        possible_bmi(bmi_printed_kg_m2) as bmi,
        possible_body_fat_percent(body_fat_percent) as fat_percent,
        possible_fat_mass(fat_mass_kg) + possible_fat_free_mass(fat_free_mass_kg) as sum_kg
    from normalised join file_facts using (file)
    where height_cm > 0 and weight_kg > 0
),
suspect as (
    select
        file, line, sex, age, height_cm, weight_kg, height_step, weight_step, mass_step, bmi_step, has_inches, has_pounds,
        bmi, fat_percent, sum_kg,
        pair_distance(sex, age, possible_height(height_cm), possible_weight(weight_kg)) as distance_as_it_stands,
        coalesce(not fat_free_is_plausible(sex, age, fat_percent, bmi_kg_m2(weight_kg, height_cm)), false)
            as fat_denies_it
    from witnessed
    where not pair_is_plausible(sex, age, height_cm, weight_kg)
        or not bmi_agrees(bmi, height_cm, weight_kg, bmi_step, height_step, weight_step)
        or not masses_agree(sum_kg, weight_kg, mass_step, weight_step)
        or (bmi is null and sum_kg is null
            and not fat_free_is_plausible(sex, age, fat_percent, bmi_kg_m2(weight_kg, height_cm)))
),
-- h_step, w_step: how coarsely a value is written by hand in the other unit, where that is coarser than the file
explanation as (
    select
        file, line, sex, age, bmi, fat_percent, sum_kg, height_step, weight_step, mass_step, bmi_step,
        distance_as_it_stands, fat_denies_it,
        unnest([
            {code: 'weight_height_exchanged', is_possible: not has_inches and not has_pounds,
             h: weight_kg, w: height_cm, h_step: 0.0, w_step: 0.0},
            {code: 'weight_height_exchanged', is_possible: not has_inches and not has_pounds,
             h: weight_kg * 100, w: height_cm / 100, h_step: 0.0, w_step: 0.0},   -- metres
            {code: 'weight_height_exchanged', is_possible: has_inches and has_pounds,
             h: weight_kg / 0.45359237 * 2.54, w: height_cm / 2.54 * 0.45359237, h_step: 0.0, w_step: 0.0},
            {code: 'height_in_inches', is_possible: not has_inches,
             h: height_cm * 2.54, w: weight_kg, h_step: 2.54, w_step: 0.0},
            {code: 'height_in_centimetres', is_possible: has_inches,
             h: height_cm / 2.54, w: weight_kg, h_step: 1.0, w_step: 0.0},
            {code: 'height_in_metres', is_possible: not has_inches,
             h: height_cm * 100, w: weight_kg, h_step: 1.0, w_step: 0.0},
            {code: 'weight_in_pounds', is_possible: not has_pounds,
             h: height_cm, w: weight_kg * 0.45359237, h_step: 0.0, w_step: 0.45359237},
            {code: 'weight_in_kilograms', is_possible: has_pounds,
             h: height_cm, w: weight_kg / 0.45359237, h_step: 0.0, w_step: 1.0},
            {code: 'inches_and_pounds', is_possible: not has_inches and not has_pounds,
             h: height_cm * 2.54, w: weight_kg * 0.45359237, h_step: 2.54, w_step: 0.45359237},
            {code: 'decimal_slip:height', is_possible: true, h: height_cm / 10, w: weight_kg, h_step: 0.0, w_step: 0.0},
            {code: 'decimal_slip:height', is_possible: true, h: height_cm * 10, w: weight_kg, h_step: 0.0, w_step: 0.0},
            {code: 'decimal_slip:weight', is_possible: true, h: height_cm, w: weight_kg / 10, h_step: 0.0, w_step: 0.0},
            {code: 'decimal_slip:weight', is_possible: true, h: height_cm, w: weight_kg * 10, h_step: 0.0, w_step: 0.0}
        ], recursive := true)
    from suspect
),
fitting as (
    select
        file, line, code, h, w,
        (bmi is not null)::int + (sum_kg is not null)::int + fat_denies_it::int as n_witnesses,
        distance_as_it_stands,
        -- two slips in one row are less likely than one: a handicap of one standard deviation
        pair_distance(sex, age, h, w) + (code = 'inches_and_pounds')::int as distance
    from explanation
    where is_possible and pair_is_typical(sex, age, h, w)
        and (fat_percent is null or fat_free_is_plausible(sex, age, fat_percent, bmi_kg_m2(w, h)))
        and (bmi is null or bmi_agrees(bmi, h, w, bmi_step,
            greatest(h_step, height_step), greatest(w_step, weight_step)))
        and (sum_kg is null or masses_agree(sum_kg, w, mass_step, greatest(w_step, weight_step)))
),
ranked as (
    select
        file, line, code, h, w, n_witnesses, distance, distance_as_it_stands,
        row_number() over nearest as place,
        lead(distance) over nearest as next_distance
    from fitting
    window nearest as (partition by file, line order by distance, code, h, w)
)
-- The next best explanation must be clearly less ordinary. Without a printed figure as witness that margin is
-- wider, and the pair as it stands must be far from ordinary too: it may be an extreme person.
select file, line, code, h as height_cm, w as weight_kg
from ranked
where place = 1
    and coalesce(next_distance - distance, 99) >= case when n_witnesses > 0 then 0.75 else 1.5 end
    and (n_witnesses > 0 or coalesce(distance_as_it_stands - distance, 99) >= 3.5);

create or replace temp table checked as
-- each value where it is in range, else null, so that one fault does not set off the next
with ranged as (
    select
        normalised.*, coalesce(unreadable, []) as unread,
        file_facts.as_of, file_facts.bmi_step, file_facts.height_step, file_facts.weight_step, file_facts.mass_step,
        file_facts.percent_step, file_facts.carries_clothing_weight,
        slip.code as slip, slip.height_cm as slip_height_cm, slip.weight_kg as slip_weight_kg,
        case when slip.code is null then possible_height(normalised.height_cm) end as h,
        case when slip.code is null then possible_weight(normalised.weight_kg) end as w,
        possible_age(age) as a,
        possible_clothing_weight(clothing_weight_kg) as clothing,
        possible_body_fat_percent(body_fat_percent) as fat_percent,
        possible_fat_mass(fat_mass_kg) as fat,
        possible_fat_free_mass(fat_free_mass_kg) as lean,
        possible_muscle_mass(muscle_mass_kg) as muscle,
        possible_total_body_water(total_body_water_kg) as water,
        possible_total_body_water_percent(total_body_water_percent) as water_percent,
        possible_bone_mineral_mass(bone_mineral_mass_kg) as bone,
        possible_basal_metabolic_rate(basal_metabolic_rate_kcal_d) as bmr,
        possible_metabolic_age(metabolic_age_a) as body_age,
        possible_visceral_fat_level(visceral_fat_level) as visceral,
        possible_bmi(bmi_printed_kg_m2) as bmi,
        possible_resting_heart_rate(resting_heart_rate_per_min) as heart_rate,
        possible_cardio_hours_per_week(cardio_hours_per_week) as cardio
    from normalised
    join file_facts on file_facts.file = normalised.file
    left join slip on slip.file = normalised.file and slip.line = normalised.line
),
-- what the equations and the growth charts say of it, worked out once
reckoned as (
    select
        *,
        bmi_kg_m2(w, h) as found_bmi,
        coalesce(fat, w - lean) as found_fat,
        coalesce(lean, w) as most_lean,
        typical_height_cm(sex, a) as typical_height,
        bmr_schofield(sex, a, w) as schofield,
        case when a >= 18 then bmr_mifflin(sex, a, w, h) end as mifflin      -- an equation of adults
    from ranged
),
-- facts about a row, true or false, never null
compared as (
    select
        *,
        participant is null or measured_on is null or sex is null or age is null or height_cm is null
            or weight_kg is null or len(unread) > 0 as is_incomplete,
        coalesce(measured_on > as_of, false) as is_future,
        coalesce(measured_on < date '1980-01-01', false) as is_too_early,
        (a is null and age is not null)
            or (slip is null and h is null and height_cm is not null)
            or (slip is null and w is null and weight_kg is not null)
            or (clothing is null and clothing_weight_kg is not null)
            or (fat_percent is null and body_fat_percent is not null)
            or (fat is null and fat_mass_kg is not null)
            or (lean is null and fat_free_mass_kg is not null)
            or (muscle is null and muscle_mass_kg is not null)
            or (water is null and total_body_water_kg is not null)
            or (water_percent is null and total_body_water_percent is not null)
            or (bone is null and bone_mineral_mass_kg is not null)
            or (bmr is null and basal_metabolic_rate_kcal_d is not null)
            or (body_age is null and metabolic_age_a is not null)
            or (visceral is null and visceral_fat_level is not null)
            or (slip is null and bmi is null and bmi_printed_kg_m2 is not null)
            or (heart_rate is null and resting_heart_rate_per_min is not null)
            or (cardio is null and cardio_hours_per_week is not null) as is_out_of_range,
        coalesce(not bmi_is_plausible(sex, a, found_bmi), false) as bmi_is_implausible,
        coalesce(bmi is null and fat + lean is null
            and not fat_free_is_plausible(sex, a, fat_percent, found_bmi), false) as fat_free_is_implausible,
        coalesce(not bmi_agrees(bmi, h, w, bmi_step, height_step, weight_step), false) as bmi_is_off,
        coalesce(not masses_agree(fat + lean, w, mass_step, weight_step), false) as sum_is_off,
        coalesce(not percent_agrees(fat_percent, found_fat, w, percent_step, mass_step, weight_step), false)
            as fat_percent_is_off,
        coalesce(not percent_agrees(water_percent, water, w, percent_step, mass_step, weight_step), false)
            as water_percent_is_off,
        coalesce(muscle + coalesce(bone, 0) > most_lean + 2 * mass_step + weight_step + 1e-6, false)
            as muscle_is_over,
        coalesce(water > most_lean + mass_step + weight_step + 1e-6, false) as water_is_over,
        coalesce(clothing_weight_kg = 0, carries_clothing_weight) as clothing_is_not_set,
        coalesce(clothing > 3, false) as clothing_is_unusual,
        coalesce(is_athlete_mode and (cardio <= 10 or heart_rate >= 60), false)
            as athlete_is_not_supported,
        coalesce(not is_athlete_mode and a >= 18 and cardio > 10 and heart_rate < 60,
            false) as athlete_is_missing,
        coalesce(is_athlete_mode and a < 18, false) as athlete_is_young,
        coalesce(h not between 0.8 * typical_height and 1.2 * typical_height, false) as height_is_unusual,
        coalesce(bmr not between 0.7 * least(schofield, mifflin) and 1.4 * greatest(schofield, mifflin), false)
            as bmr_is_far,
        coalesce(share(water, lean) not between 0.65 and 0.80, false) as water_share_is_unusual
    from reckoned
),
-- Fat mass and fat-free mass with either the printed BMI or the printed percentage as second witness: weight is off.
judged as (
    select
        *,
        sum_is_off and (
            (bmi_is_off and coalesce(bmi_agrees(bmi, h, fat + lean, bmi_step, height_step, 2 * mass_step), false))
            or (coalesce(percent_agrees(fat_percent, fat, fat + lean, percent_step, mass_step, 2 * mass_step), false)
                and (bmi is null or bmi_is_off))
        ) as weight_is_off,
        (participant is null)::int + (measured_on is null)::int + (sex is null)::int + (age is null)::int
            + (height_cm is null)::int + (weight_kg is null)::int >= 3
            or (measured_on is null and sex is null) as is_not_a_reading
    from compared
)
select
    file, line, participant, measured_on, measured_at, period, sex, age, age_months, height_cm, weight_kg,
    clothing_weight_kg, is_athlete_mode, device, body_fat_percent, fat_mass_kg, fat_free_mass_kg, muscle_mass_kg, total_body_water_kg,
    total_body_water_percent, bone_mineral_mass_kg, basal_metabolic_rate_kcal_d, metabolic_age_a, visceral_fat_level,
    bmi_printed_kg_m2, resting_heart_rate_per_min, cardio_hours_per_week,
    case
        when is_not_a_reading then ['not_a_reading']
        when is_incomplete or is_future or is_too_early or slip is not null or is_out_of_range or bmi_is_implausible
            or fat_free_is_implausible or bmi_is_off or sum_is_off or fat_percent_is_off or water_percent_is_off
            or muscle_is_over or water_is_over
        then list_concat(
            list_transform(unread, lambda field: 'unreadable:' || field),
            list_filter([
                case when participant is null then 'missing:participant' end,
                case when measured_on is null then 'missing:measured_on' end,
                case when sex is null then 'missing:sex' end,
                case when age is null then 'missing:age' end,
                case when height_cm is null then 'missing:height' end,
                case when weight_kg is null then 'missing:weight' end,
                case when is_future then 'measured_in_future' end,
                case when is_too_early then 'out_of_range:measured_on' end,
                slip,
                case when a is null and age is not null then 'out_of_range:age' end,
                case when slip is null and h is null and height_cm is not null then 'out_of_range:height' end,
                case when slip is null and w is null and weight_kg is not null then 'out_of_range:weight' end,
                case when clothing is null and clothing_weight_kg is not null
                    then 'out_of_range:clothing_weight' end,
                case when fat_percent is null and body_fat_percent is not null
                    then 'out_of_range:body_fat_percent' end,
                case when fat is null and fat_mass_kg is not null then 'out_of_range:fat_mass' end,
                case when lean is null and fat_free_mass_kg is not null then 'out_of_range:fat_free_mass' end,
                case when muscle is null and muscle_mass_kg is not null then 'out_of_range:muscle_mass' end,
                case when water is null and total_body_water_kg is not null
                    then 'out_of_range:total_body_water' end,
                case when water_percent is null and total_body_water_percent is not null
                    then 'out_of_range:total_body_water_percent' end,
                case when bone is null and bone_mineral_mass_kg is not null
                    then 'out_of_range:bone_mineral_mass' end,
                case when bmr is null and basal_metabolic_rate_kcal_d is not null
                    then 'out_of_range:basal_metabolic_rate' end,
                case when body_age is null and metabolic_age_a is not null
                    then 'out_of_range:metabolic_age' end,
                case when visceral is null and visceral_fat_level is not null
                    then 'out_of_range:visceral_fat_level' end,
                case when slip is null and bmi is null and bmi_printed_kg_m2 is not null
                    then 'out_of_range:bmi' end,
                case when heart_rate is null and resting_heart_rate_per_min is not null
                    then 'out_of_range:resting_heart_rate' end,
                case when cardio is null and cardio_hours_per_week is not null
                    then 'out_of_range:cardio_hours_per_week' end,
                case when weight_is_off then 'weight_disagrees'
                     when bmi_is_off then 'bmi_disagrees'
                     when bmi_is_implausible then 'implausible_bmi'
                     when fat_free_is_implausible then 'implausible_fat_free_mass' end,
                case when sum_is_off and not weight_is_off then 'mass_balance' end,
                case when fat_percent_is_off and not sum_is_off and not bmi_is_off
                    then 'fat_percent_disagrees' end,
                case when water_percent_is_off and not weight_is_off and not bmi_is_off
                    then 'water_percent_disagrees' end,
                case when muscle_is_over and not sum_is_off then 'muscle_and_bone_over_fat_free_mass' end,
                case when water_is_over and not sum_is_off and not water_percent_is_off
                    then 'water_over_fat_free_mass' end
            ], lambda code: code is not null and not list_contains(unread, replace(code, 'missing:', ''))))
        else []::varchar[]
    end as codes,
    case
        when clothing_is_not_set or clothing_is_unusual or athlete_is_not_supported or athlete_is_missing
            or athlete_is_young or height_is_unusual or bmr_is_far or water_share_is_unusual
        then list_filter([
            case when clothing_is_not_set then 'clothing_weight_not_set' end,
            case when clothing_is_unusual then 'clothing_weight_unusual' end,
            case when athlete_is_not_supported then 'athlete_mode_not_supported' end,
            case when athlete_is_missing then 'athlete_mode_missing' end,
            case when athlete_is_young then 'athlete_mode_under_18' end,
            case when height_is_unusual then 'height_unusual_for_age' end,
            case when bmr_is_far then 'bmr_far_from_equations' end,
            case when water_share_is_unusual then 'water_in_fat_free_mass_unusual' end
        ], lambda code: code is not null)
        else []::varchar[]
    end as flags,
    case
        when is_not_a_reading then null
        when slip is not null then format('height {:.1f} cm with weight {:.1f} kg', slip_height_cm, slip_weight_kg)
        when weight_is_off then format('weight {:.1f} kg, as fat mass and fat-free mass add up', fat + lean)
        when sum_is_off and percent_agrees(fat_percent, fat, w, percent_step, mass_step, weight_step)
            then format('fat-free mass {:.1f} kg, as weight less fat mass', w - fat)
        when sum_is_off and percent_agrees(fat_percent, w - lean, w, percent_step, mass_step, weight_step)
            then format('fat mass {:.1f} kg, as weight less fat-free mass', w - lean)
        when fat_percent_is_off and fat + lean is not null and not sum_is_off and not bmi_is_off
            then format('body fat {:.1f} %, as fat mass over weight', 100 * fat / w)
    end as proposal
from judged;
