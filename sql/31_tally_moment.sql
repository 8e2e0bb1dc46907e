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
        moment_of(weight) as weight, moment_of(height) as height, moment_of(bmi) as bmi, moment_of(bmi_z) as bmi_z,
        moment_of(body_fat_percent) as body_fat_percent, moment_of(fat_mass) as fat_mass,
        moment_of(fat_free_mass) as fat_free_mass, moment_of(muscle_mass) as muscle_mass,
        moment_of(total_body_water) as total_body_water,
        moment_of(total_body_water_percent) as total_body_water_percent,
        moment_of(water_in_fat_free_mass) as water_in_fat_free_mass,
        moment_of(bone_mineral_mass) as bone_mineral_mass, moment_of(basal_metabolic_rate) as basal_metabolic_rate,
        moment_of(metabolic_age) as metabolic_age, moment_of(visceral_fat_level) as visceral_fat_level,
        moment_of(fat_mass_index) as fat_mass_index, moment_of(fat_free_mass_index) as fat_free_mass_index,
        moment_of(muscle_mass_index) as muscle_mass_index
    from people_in_steps()
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
