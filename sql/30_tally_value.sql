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
with period as (
    select period, row_number() over (order by period) as number from touched_period
),
-- people: one whole number for period, sex and age, since counting by it takes a quarter of counting by words
person as (
    select
        256 * (2 * period.number + (sex = 'male')::integer) + age as people,
        print_steps(weight_kg, 10) as weight,
        print_steps(height_cm, 10) as height,
        print_steps(bmi_kg_m2, 10) as bmi,
        case when age between 5 and 19 then print_steps(bmi_z, 100) end as bmi_z,
        print_steps(body_fat_percent, 10) as body_fat_percent,
        print_steps(fat_mass_kg, 10) as fat_mass,
        print_steps(fat_free_mass_kg, 10) as fat_free_mass,
        print_steps(muscle_mass_kg, 10) as muscle_mass,
        print_steps(total_body_water_kg, 10) as total_body_water,
        print_steps(total_body_water_percent, 10) as total_body_water_percent,
        print_steps(water_in_fat_free_mass, 1000) as water_in_fat_free_mass,
        print_steps(bone_mineral_mass_kg, 10) as bone_mineral_mass,
        print_steps(basal_metabolic_rate_kcal_d, 1) as basal_metabolic_rate,
        case when age >= 18 then print_steps(metabolic_age_a, 1) end as metabolic_age,
        case when age >= 18 then print_steps(visceral_fat_level, 1) end as visceral_fat_level,
        print_steps(fat_mass_index_kg_m2, 10) as fat_mass_index,
        print_steps(fat_free_mass_index_kg_m2, 10) as fat_free_mass_index,
        print_steps(muscle_mass_index_kg_m2, 10) as muscle_mass_index
    from reading.participant_period as participant_period
    join period on period.period = participant_period.period
),
counted as (
    select people, 'weight' as measure, weight as value, count(*) as n from person where weight is not null
    group by people, value
    union all
    select people, 'height' as measure, height as value, count(*) as n from person where height is not null
    group by people, value
    union all
    select people, 'bmi' as measure, bmi as value, count(*) as n from person where bmi is not null
    group by people, value
    union all
    select people, 'bmi_z' as measure, bmi_z as value, count(*) as n from person where bmi_z is not null
    group by people, value
    union all
    select people, 'body_fat_percent' as measure, body_fat_percent as value, count(*) as n from person where body_fat_percent is not null
    group by people, value
    union all
    select people, 'fat_mass' as measure, fat_mass as value, count(*) as n from person where fat_mass is not null
    group by people, value
    union all
    select people, 'fat_free_mass' as measure, fat_free_mass as value, count(*) as n from person where fat_free_mass is not null
    group by people, value
    union all
    select people, 'muscle_mass' as measure, muscle_mass as value, count(*) as n from person where muscle_mass is not null
    group by people, value
    union all
    select people, 'total_body_water' as measure, total_body_water as value, count(*) as n from person where total_body_water is not null
    group by people, value
    union all
    select people, 'total_body_water_percent' as measure, total_body_water_percent as value, count(*) as n from person where total_body_water_percent is not null
    group by people, value
    union all
    select people, 'water_in_fat_free_mass' as measure, water_in_fat_free_mass as value, count(*) as n from person where water_in_fat_free_mass is not null
    group by people, value
    union all
    select people, 'bone_mineral_mass' as measure, bone_mineral_mass as value, count(*) as n from person where bone_mineral_mass is not null
    group by people, value
    union all
    select people, 'basal_metabolic_rate' as measure, basal_metabolic_rate as value, count(*) as n from person where basal_metabolic_rate is not null
    group by people, value
    union all
    select people, 'metabolic_age' as measure, metabolic_age as value, count(*) as n from person where metabolic_age is not null
    group by people, value
    union all
    select people, 'visceral_fat_level' as measure, visceral_fat_level as value, count(*) as n from person where visceral_fat_level is not null
    group by people, value
    union all
    select people, 'fat_mass_index' as measure, fat_mass_index as value, count(*) as n from person where fat_mass_index is not null
    group by people, value
    union all
    select people, 'fat_free_mass_index' as measure, fat_free_mass_index as value, count(*) as n from person where fat_free_mass_index is not null
    group by people, value
    union all
    select people, 'muscle_mass_index' as measure, muscle_mass_index as value, count(*) as n from person where muscle_mass_index is not null
    group by people, value
)
select
    period.period, case people // 256 % 2 when 1 then 'male' else 'female' end as sex, people % 256 as age,
    counted.measure, counted.value, counted.n
from counted
join period on period.number = people // 512;
