-- tally.value: how many people have each value of each measure, all sites together
-- grain   period × sex × age × measure × value
-- inputs  reading.participant_period, touched_period
-- keys    (period, sex, age, measure, value) unique, none null
-- rule    value counts print steps, round(value × steps per unit), half away from zero. A measure that was not
--         taken, or does not apply at the age, counts nowhere.
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
        weight, height, bmi, bmi_z, body_fat_percent, fat_mass, fat_free_mass, muscle_mass, total_body_water,
        total_body_water_percent, water_in_fat_free_mass, bone_mineral_mass, basal_metabolic_rate, metabolic_age,
        visceral_fat_level, fat_mass_index, fat_free_mass_index, muscle_mass_index
    from people_in_steps() as person_in_steps
    join period on period.period = person_in_steps.period
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
