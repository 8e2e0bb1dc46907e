-- Temporary macros: the measures that are derived, and one macro a banding
-- inputs  canonical values (kg, cm, %, whole years); a null in gives a null out, and a null is in no band
-- rule    A share of two masses is taken between whole tenths of a kilogram, so a value that sits on an edge is
--         exactly that edge in binary too; 10 is a print step of the analysers, not a rounding: a mass that was
--         converted from pounds keeps its decimals. BMI needs no such care in this order of operations:
--         tests/published/test_bmi_bands.py proves it on the whole grid of printable values.

-- ---- derived measures ------------------------------------------------------------------------------------

-- kg/m²; weight * 10000 first: 64.0 kg at 160 cm is then exactly 25
create or replace temp macro bmi_kg_m2(weight_kg, height_cm) as
    weight_kg * 10000 / (height_cm * height_cm);

-- kg of anything over the square of height: fat mass index, fat-free mass index, muscle mass index
create or replace temp macro mass_index_kg_m2(mass_kg, height_cm) as
    mass_kg * 10000 / (height_cm * height_cm);

-- in tenths of a kilogram; the sixth decimal takes the conversion's noise away (32.4 * 10 is then 324)
create or replace temp macro tenths(mass_kg) as round(mass_kg * 10, 6);

create or replace temp macro share(part_kg, whole_kg) as tenths(part_kg) / tenths(whole_kg);
create or replace temp macro percent_of(part_kg, whole_kg) as 100 * tenths(part_kg) / tenths(whole_kg);

-- printed first, then from fat mass, then from fat-free mass
create or replace temp macro fat_percent(printed_percent, fat_kg, fat_free_kg, weight_kg) as
    coalesce(printed_percent, percent_of(fat_kg, weight_kg), 100 - percent_of(fat_free_kg, weight_kg));

create or replace temp macro fat_kg(printed_fat_kg, fat_free_kg, fat_percent, weight_kg) as
    coalesce(printed_fat_kg, weight_kg - fat_free_kg, weight_kg * fat_percent / 100);

create or replace temp macro fat_free_kg(printed_fat_free_kg, printed_fat_kg, fat_percent, weight_kg) as
    coalesce(printed_fat_free_kg, weight_kg - printed_fat_kg, weight_kg * (100 - fat_percent) / 100);

create or replace temp macro water_kg(printed_water_kg, water_percent, weight_kg) as
    coalesce(printed_water_kg, weight_kg * water_percent / 100);

create or replace temp macro water_percent(printed_percent, water_kg, weight_kg) as
    coalesce(printed_percent, percent_of(water_kg, weight_kg));

-- ---- BMI for age: WHO Reference 2007 ------------------------------------------------------------------------

-- the row of the reference: completed months where the file gives months, else mid-year; month 228 for all of 19
create or replace temp macro who_month(age, age_months) as least(coalesce(age_months, 12 * age + 6), 228);

create or replace temp macro who_bmi_at(z, l, m, s) as m * pow(1 + l * s * z, 1 / l);
create or replace temp macro who_raw_z(bmi, l, m, s) as (pow(bmi / m, l) - 1) / (l * s);

-- z with the published adjustment of weight-based indicators beyond three standard deviations
create or replace temp macro who_z(bmi, l, m, s) as case
    when who_raw_z(bmi, l, m, s) > 3
        then 3 + (bmi - who_bmi_at(3, l, m, s)) / (who_bmi_at(3, l, m, s) - who_bmi_at(2, l, m, s))
    when who_raw_z(bmi, l, m, s) < -3
        then -3 + (bmi - who_bmi_at(-3, l, m, s)) / (who_bmi_at(-2, l, m, s) - who_bmi_at(-3, l, m, s))
    else who_raw_z(bmi, l, m, s)
end;

-- BMI at z = −5 and +5, adjusted, mid-year, one figure an age from 5 to 19: what a child's BMI is held outside of.
-- Made from reference.who_bmi_for_age and tested against it; here as constants, so that a file can be checked
-- on its own, before anything else is loaded.
create or replace temp macro child_bmi_low(sex, age) as case sex
    when 'female'
    then [9.8, 9.8, 9.8, 9.9, 10.1, 10.3, 10.5, 10.8, 11.1, 11.3, 11.4, 11.4, 11.4, 11.2, 11.2][age - 4]
    else [10.3, 10.4, 10.5, 10.6, 10.8, 10.9, 11.1, 11.4, 11.7, 12.0, 12.2, 12.4, 12.5, 12.5, 12.5][age - 4]
end::double;
create or replace temp macro child_bmi_high(sex, age) as case sex
    when 'female'
    then [27.0, 29.0, 31.7, 34.9, 38.3, 41.6, 44.5, 46.9, 48.7, 49.8, 50.4, 50.4, 50.1, 49.5, 49.2][age - 4]
    else [24.4, 25.8, 27.8, 30.4, 33.6, 37.3, 41.0, 44.2, 46.6, 48.0, 48.5, 48.4, 48.1, 47.5, 47.1][age - 4]
end::double;

-- ---- bandings: pipeline/measures.py names their bands and sources -------------------------------------------

create or replace temp macro band_bmi_adult(bmi) as case
    when bmi < 18.5 then 'underweight'
    when bmi < 25 then 'normal'
    when bmi < 30 then 'overweight'
    when bmi < 35 then 'obesity_1'
    when bmi < 40 then 'obesity_2'
    when bmi >= 40 then 'obesity_3'
end;

create or replace temp macro band_bmi_adult_asian(bmi) as case
    when bmi < 18.5 then 'underweight'
    when bmi < 23 then 'acceptable_risk'
    when bmi < 27.5 then 'increased_risk'
    when bmi >= 27.5 then 'high_risk'
end;

-- half-open below, closed above, as WHO has it
create or replace temp macro band_bmi_child(z) as case
    when z < -3 then 'severe_thinness'
    when z < -2 then 'thinness'
    when z <= 1 then 'normal'
    when z <= 2 then 'overweight'
    when z > 2 then 'obesity'
end;

-- closed at both ends
create or replace temp macro band_hydration(sex, water_percent) as case
    when water_percent < case sex when 'female' then 45 else 50 end then 'below'
    when water_percent <= case sex when 'female' then 60 else 65 end then 'within'
    when water_percent is not null then 'above'
end;

create or replace temp macro band_visceral_fat(level) as case
    when level < 13 then 'usual'
    when level >= 13 then 'excess'
end;

-- edges of 20–39, 40–59, 60–79 years
create or replace temp macro band_body_fat(sex, age, fat_percent) as case
    when fat_percent < case sex
        when 'female' then case when age < 40 then 21 when age < 60 then 23 else 24 end
        else case when age < 40 then 8 when age < 60 then 11 else 13 end end then 'under'
    when fat_percent < case sex
        when 'female' then case when age < 40 then 33 when age < 60 then 35 else 36 end
        else case when age < 40 then 20 when age < 60 then 22 else 25 end end then 'healthy'
    when fat_percent < case sex
        when 'female' then case when age < 40 then 39 when age < 60 then 40 else 42 end
        else case when age < 40 then 25 when age < 60 then 28 else 30 end end then 'over'
    when fat_percent is not null then 'obese'
end;

-- quadrants about the medians at 18–34 years; on a median counts as above it
create or replace temp macro band_fat_lean(sex, fat_mass_index, fat_free_mass_index) as case
    when fat_mass_index is null or fat_free_mass_index is null then null
    when fat_mass_index < case sex when 'female' then 5.5 else 4.0 end then case
        when fat_free_mass_index < case sex when 'female' then 15.4 else 18.9 end
        then 'lower_fat_lower_lean' else 'lower_fat_higher_lean' end
    when fat_free_mass_index < case sex when 'female' then 15.4 else 18.9 end then 'higher_fat_lower_lean'
    else 'higher_fat_higher_lean'
end;

-- ---- basal metabolic rate by equation, kcal/d: only to see whether a printed value is far from all -----------

-- Mifflin & St Jeor, Am J Clin Nutr 1990;51:241-7 (adults)
create or replace temp macro bmr_mifflin(sex, age, weight_kg, height_cm) as
    9.99 * weight_kg + 6.25 * height_cm - 4.92 * age + case sex when 'female' then -161 else 5 end;

-- Schofield, Hum Nutr Clin Nutr 1985;39C Suppl 1:5-41, by weight; ages [3,10) [10,18) [18,30) [30,60) [60,∞)
create or replace temp macro bmr_schofield(sex, age, weight_kg) as case sex
    when 'female' then case
        when age < 10 then 20.315 * weight_kg + 485.9
        when age < 18 then 13.384 * weight_kg + 692.6
        when age < 30 then 14.818 * weight_kg + 486.6
        when age < 60 then 8.126 * weight_kg + 845.6
        else 9.082 * weight_kg + 658.5 end
    else case
        when age < 10 then 22.706 * weight_kg + 504.3
        when age < 18 then 17.686 * weight_kg + 658.2
        when age < 30 then 15.057 * weight_kg + 692.2
        when age < 60 then 11.472 * weight_kg + 873.1
        else 11.711 * weight_kg + 587.7 end
end;
