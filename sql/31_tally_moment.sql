-- tally.moment: how many people, the sum and the sum of squares of each measure, by site
-- grain   site × period × sex × age group × measure
-- inputs  reading.participant_period, touched_period, reference.age_group
-- keys    (site, period, sex, age_from, age_to, measure) unique, none null
-- rule    in print steps, as tally.value counts them: whole numbers, so the sums are exact and add up over sites,
--         periods and machines. Totals of age groups are rows of their own. A group with nobody has no row.
-- reruns  rewrites only the touched periods; twice is the same as once
delete from tally.moment where period in (select period from touched_period);

insert into tally.moment (site, period, sex, age_from, age_to, measure, n, sum, sum_of_squares)
with year_of_age as (
    select
        site, period, sex, age,
        moment_of(print_steps(weight_kg, 10)) as weight,
        moment_of(print_steps(height_cm, 10)) as height,
        moment_of(print_steps(bmi_kg_m2, 10)) as bmi,
        moment_of(case when age <= 19 then print_steps(bmi_z, 100) end) as bmi_z,
        moment_of(print_steps(body_fat_percent, 10)) as body_fat_percent,
        moment_of(print_steps(fat_mass_kg, 10)) as fat_mass,
        moment_of(print_steps(fat_free_mass_kg, 10)) as fat_free_mass,
        moment_of(print_steps(muscle_mass_kg, 10)) as muscle_mass,
        moment_of(print_steps(total_body_water_kg, 10)) as total_body_water,
        moment_of(print_steps(total_body_water_percent, 10)) as total_body_water_percent,
        moment_of(print_steps(water_in_fat_free_mass, 1000)) as water_in_fat_free_mass,
        moment_of(print_steps(bone_mineral_mass_kg, 10)) as bone_mineral_mass,
        moment_of(print_steps(basal_metabolic_rate_kcal_d, 1)) as basal_metabolic_rate,
        moment_of(case when age >= 18 then print_steps(metabolic_age_a, 1) end) as metabolic_age,
        moment_of(case when age >= 18 then print_steps(visceral_fat_level, 1) end) as visceral_fat_level,
        moment_of(print_steps(fat_mass_index_kg_m2, 10)) as fat_mass_index,
        moment_of(print_steps(fat_free_mass_index_kg_m2, 10)) as fat_free_mass_index,
        moment_of(print_steps(muscle_mass_index_kg_m2, 10)) as muscle_mass_index
    from reading.participant_period
    where period in (select period from touched_period)
    group by site, period, sex, age
),
measured as (
    select site, period, sex, age, measure, moment.n, moment.sum, moment.sum_of_squares
    from year_of_age unpivot (moment for measure in (* exclude (site, period, sex, age)))
)
select
    measured.site, measured.period, measured.sex, age_group.age_from, age_group.age_to, measured.measure,
    sum(measured.n) as n, sum(measured.sum) as sum, sum(measured.sum_of_squares) as sum_of_squares
from measured
join reference.age_group as age_group on measured.age between age_group.age_from and age_group.age_to
where measured.n > 0
group by all
order by all;
