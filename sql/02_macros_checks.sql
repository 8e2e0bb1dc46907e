-- Temporary macros: what the row checks mean by plausible, typical and agreeing
-- inputs  canonical values and print steps, canonical units
-- rule    A check that lacks one of its values finds no fault: each macro says false then, never null.
--         The bounds are the project's choice unless a source is named; pipeline/checks.py gives the reasons.

-- a field's value where it can be a reading at all, else null: the bounds of pipeline/measures.py (tested)
create or replace temp macro possible_age(x) as case when x between 5 and 99 then x end;
create or replace temp macro possible_height(x) as case when x between 80 and 230 then x end;
create or replace temp macro possible_weight(x) as case when x between 10 and 300 then x end;
create or replace temp macro possible_clothing_weight(x) as case when x between 0 and 10 then x end;
create or replace temp macro possible_body_fat_percent(x) as case when x between 1 and 75 then x end;
create or replace temp macro possible_fat_mass(x) as case when x between 0.2 and 200 then x end;
create or replace temp macro possible_fat_free_mass(x) as case when x between 8 and 140 then x end;
create or replace temp macro possible_muscle_mass(x) as case when x between 5 and 130 then x end;
create or replace temp macro possible_total_body_water(x) as case when x between 5 and 110 then x end;
create or replace temp macro possible_total_body_water_percent(x) as case when x between 20 and 80 then x end;
create or replace temp macro possible_bone_mineral_mass(x) as case when x between 0.3 and 8 then x end;
create or replace temp macro possible_basal_metabolic_rate(x) as case when x between 400 and 5000 then x end;
create or replace temp macro possible_metabolic_age(x) as case when x between 5 and 120 then x end;
create or replace temp macro possible_visceral_fat_level(x) as case when x between 1 and 59 then x end;
create or replace temp macro possible_bmi(x) as case when x between 7 and 100 then x end;
create or replace temp macro possible_resting_heart_rate(x) as case when x between 25 and 220 then x end;
create or replace temp macro possible_cardio_hours_per_week(x) as case when x between 0 and 60 then x end;

-- BMI that a living person can have: 10 to 80 from 20 years on, WHO z* within ±5 below; an unknown age or sex
-- takes the adult bounds
create or replace temp macro bmi_is_plausible(sex, age, bmi) as case
    when age between 5 and 19 and sex is not null then bmi between child_bmi_low(sex, age) and child_bmi_high(sex, age)
    else bmi between 10 and 80
end;

create or replace temp macro pair_is_plausible(sex, age, height_cm, weight_kg) as
    possible_height(height_cm) is not null and possible_weight(weight_kg) is not null
    and bmi_is_plausible(sex, age, bmi_kg_m2(weight_kg, height_cm));

-- Fat-free mass index that nobody passes at their fat mass index: a muscular man has about 26 with 3 kg/m² of fat, a
-- very heavy one 33 with 27; the same people with the weight in pounds have more than twice both
create or replace temp macro fat_free_is_plausible(sex, age, fat_percent, bmi) as
    bmi * (1 - fat_percent / 100) <= bmi * fat_percent / 100 * 0.45
        + case
            when age < 12 then 19
            when age < 16 then case sex when 'female' then 20 else 24 end
            when sex = 'female' then 22
            else 27
        end;

-- cm; middle of the WHO growth charts to the nearest few centimetres, enough to tell units apart
create or replace temp macro typical_height_cm(sex, age) as case
    when age < 16 then 110 + 6 * (age - 5)
    when sex = 'female' then 163
    when sex = 'male' then 176
    else 169
end;

-- height within a fifth below and a quarter above what is typical, BMI 13 to 60 (a child's: plausible)
create or replace temp macro pair_is_typical(sex, age, height_cm, weight_kg) as
    height_cm between 0.8 * typical_height_cm(sex, age) and 1.25 * typical_height_cm(sex, age)
    and possible_weight(weight_kg) is not null
    and case
        when age between 5 and 19 then bmi_is_plausible(sex, age, bmi_kg_m2(weight_kg, height_cm))
        else bmi_kg_m2(weight_kg, height_cm) between 13 and 60
    end;

-- how far from ordinary a height with a weight is, in about standard deviations: 7 cm, and a fifth of BMI
create or replace temp macro pair_distance(sex, age, height_cm, weight_kg) as
    abs(height_cm - typical_height_cm(sex, age)) / 7
    + abs(ln(bmi_kg_m2(weight_kg, height_cm) / case when age < 20 then 12 + 0.6 * age else 26 end)) / 0.2;

-- Two figures agree when rounding or cutting off at the print step can explain the difference. Half a step is
-- rounding, a whole step is cutting off: the whole step is allowed for a figure that the analyser worked out.
create or replace temp macro bmi_agrees(printed, height_cm, weight_kg, bmi_step, height_step, weight_step) as
    abs(printed / bmi_kg_m2(weight_kg, height_cm) - 1)
        <= bmi_step / printed + weight_step / 2 / weight_kg + height_step / height_cm + 1e-6;

create or replace temp macro masses_agree(sum_kg, weight_kg, mass_step, weight_step) as
    abs(sum_kg - weight_kg) <= 2 * mass_step + weight_step + 1e-6;

create or replace temp macro percent_agrees(printed, part_kg, whole_kg, percent_step, mass_step, weight_step) as
    abs(printed - 100 * part_kg / whole_kg)
        <= percent_step + (100 * mass_step + printed * weight_step) / whole_kg + 1e-6;

-- A print step says whether a file writes in inches or pounds: it is then a whole number of hundredths of one, which
-- no step of centimetres or kilograms is.
create or replace temp macro is_integral(x) as abs(x - round(x)) < 1e-6;
create or replace temp macro is_in_inches(height_step_cm) as is_integral(height_step_cm * 100 / 2.54);
create or replace temp macro is_in_pounds(weight_step_kg) as is_integral(weight_step_kg * 100 / 0.45359237);
