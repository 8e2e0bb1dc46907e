-- tally.value: how many people have each value of each measure, all sites together
-- grain   period × sex × age × measure × value
-- inputs  reading.participant_period, touched_period
-- keys    (period, sex, age, measure, value) unique, none null
-- rule    value counts print steps, round(value × steps per unit), half away from zero. A measure that was not
--         taken counts nowhere; metabolic age and visceral fat level count from 18 years on, the BMI z-score to 19.
--         Names, columns and steps are those of pipeline/measures.py (tested).
-- reruns  rewrites only the touched periods; twice is the same as once
delete from tally.value where period in (select period from touched_period);

insert into tally.value (period, sex, age, measure, value, n)
with person as (
    select * from reading.participant_period where period in (select period from touched_period)
)
select period, sex, age, 'weight' as measure, print_steps(weight_kg, 10) as value, count(*) as n
    from person group by all
union all by name
select period, sex, age, 'height' as measure, print_steps(height_cm, 10) as value, count(*) as n
    from person group by all
union all by name
select period, sex, age, 'bmi' as measure, print_steps(bmi_kg_m2, 10) as value, count(*) as n
    from person group by all
union all by name
select period, sex, age, 'bmi_z' as measure, print_steps(bmi_z, 100) as value, count(*) as n
    from person where bmi_z is not null and age between 5 and 19 group by all
union all by name
select period, sex, age, 'body_fat_percent' as measure, print_steps(body_fat_percent, 10) as value, count(*) as n
    from person where body_fat_percent is not null group by all
union all by name
select period, sex, age, 'fat_mass' as measure, print_steps(fat_mass_kg, 10) as value, count(*) as n
    from person where fat_mass_kg is not null group by all
union all by name
select period, sex, age, 'fat_free_mass' as measure, print_steps(fat_free_mass_kg, 10) as value, count(*) as n
    from person where fat_free_mass_kg is not null group by all
union all by name
select period, sex, age, 'muscle_mass' as measure, print_steps(muscle_mass_kg, 10) as value, count(*) as n
    from person where muscle_mass_kg is not null group by all
union all by name
select period, sex, age, 'total_body_water' as measure, print_steps(total_body_water_kg, 10) as value, count(*) as n
    from person where total_body_water_kg is not null group by all
union all by name
select period, sex, age, 'total_body_water_percent' as measure, print_steps(total_body_water_percent, 10) as value,
    count(*) as n
    from person where total_body_water_percent is not null group by all
union all by name
select period, sex, age, 'water_in_fat_free_mass' as measure, print_steps(water_in_fat_free_mass, 1000) as value,
    count(*) as n
    from person where water_in_fat_free_mass is not null group by all
union all by name
select period, sex, age, 'bone_mineral_mass' as measure, print_steps(bone_mineral_mass_kg, 10) as value, count(*) as n
    from person where bone_mineral_mass_kg is not null group by all
union all by name
select period, sex, age, 'basal_metabolic_rate' as measure, print_steps(basal_metabolic_rate_kcal_d, 1) as value,
    count(*) as n
    from person where basal_metabolic_rate_kcal_d is not null group by all
union all by name
select period, sex, age, 'metabolic_age' as measure, print_steps(metabolic_age_a, 1) as value, count(*) as n
    from person where metabolic_age_a is not null and age >= 18 group by all
union all by name
select period, sex, age, 'visceral_fat_level' as measure, print_steps(visceral_fat_level, 1) as value, count(*) as n
    from person where visceral_fat_level is not null and age >= 18 group by all
union all by name
select period, sex, age, 'fat_mass_index' as measure, print_steps(fat_mass_index_kg_m2, 10) as value, count(*) as n
    from person where fat_mass_index_kg_m2 is not null group by all
union all by name
select period, sex, age, 'fat_free_mass_index' as measure, print_steps(fat_free_mass_index_kg_m2, 10) as value,
    count(*) as n
    from person where fat_free_mass_index_kg_m2 is not null group by all
union all by name
select period, sex, age, 'muscle_mass_index' as measure, print_steps(muscle_mass_index_kg_m2, 10) as value,
    count(*) as n
    from person where muscle_mass_index_kg_m2 is not null group by all;
