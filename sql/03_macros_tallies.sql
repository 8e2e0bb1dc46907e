-- print_steps(value, steps_per_unit): a value in whole print steps, half away from zero
-- rule    The last factor lifts what is a half exactly but stands a few units of the last place below it in binary
--         (0.7325 * 1000); no other printable value is that near to a half.
create or replace temp macro print_steps(value, steps_per_unit) as
    round(value * (steps_per_unit * (1 + 1e-12)))::integer;

-- moment_of(steps, change), moments_together(moment): how many of a group were measured, their sum and sum of squares
-- inputs  steps: a value in print steps; change: 1 for one to be added, -1 for one to be taken away
-- rule    whole numbers throughout, so that groups add up exactly
create or replace temp macro moment_of(steps, change) as {
    n: coalesce(sum(change) filter (where steps is not null), 0),
    sum: coalesce(sum(steps::bigint * change), 0),
    sum_of_squares: coalesce(sum(steps::bigint * steps * change), 0)
};
create or replace temp macro moments_together(moment) as
    {n: sum(moment.n), sum: sum(moment.sum), sum_of_squares: sum(moment.sum_of_squares)};

-- people_in_steps(source): the reading that counts for each person in a period, its measures as whole print steps
-- inputs  source: the name of a table like reading.participant_period
-- rule    a measure that was not taken, or does not apply at the age, is null. Names, columns, steps and ages are those
--         of pipeline/measures.py (tested). Percentiles and tallies all count these. change: where the source has it.
create or replace temp macro people_in_steps(source) as table
select
    columns(lambda name: name in ('change', 'participant', 'period', 'site', 'sex', 'age')),
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
from query_table(source);

-- values_of(source, measure): each person's value of one measure, by the whole number of a group
-- inputs  source: the name of a table with people (the group), site and change, or one of them, and a column of whole
--         print steps for each measure, as 34_last_person_value.sql makes them
-- rule    a measure that was not taken is no row
create or replace temp macro values_of(source, measure) as table
with every as (
    select
        columns(lambda name: name in ('site', 'people', 'change')), columns(lambda name: name = measure) as value
    from query_table(source)
)
select * from every where value is not null;

-- people_with(source, measure): how many people of a group have each value of one measure, or how many more than before
-- inputs  as values_of, with change: 1 of a person who counts, -1 of one who counted before
create or replace temp macro people_with(source, measure) as table
select people, measure as measure, value, sum(change)::bigint as n
from values_of(source, measure)
group by people, value
having sum(change) <> 0;

-- people_by_value(source): how many people have each value of each measure, by the whole number of a group
-- inputs  as people_with
-- rule    a count a measure, because counting by two numbers is several times faster than unpivoting first
create or replace temp macro people_by_value(source) as table
from people_with(source, 'weight')
union all from people_with(source, 'height')
union all from people_with(source, 'bmi')
union all from people_with(source, 'bmi_z')
union all from people_with(source, 'body_fat_percent')
union all from people_with(source, 'fat_mass')
union all from people_with(source, 'fat_free_mass')
union all from people_with(source, 'muscle_mass')
union all from people_with(source, 'total_body_water')
union all from people_with(source, 'total_body_water_percent')
union all from people_with(source, 'water_in_fat_free_mass')
union all from people_with(source, 'bone_mineral_mass')
union all from people_with(source, 'basal_metabolic_rate')
union all from people_with(source, 'metabolic_age')
union all from people_with(source, 'visceral_fat_level')
union all from people_with(source, 'fat_mass_index')
union all from people_with(source, 'fat_free_mass_index')
union all from people_with(source, 'muscle_mass_index');

-- counted_values(source): how many people have each value of each measure, by period, sex and age
-- inputs  source: as people_in_steps, with change; touched_period
-- rule    as tally.value
create or replace temp macro counted_values(source) as table
with period as (
    select period, row_number() over (order by period) as number from touched_period
),
-- people: one whole number for period, sex and age, since counting by it takes a quarter of counting by words
person as (
    select 256 * (2 * period.number + (sex = 'male')::integer) + age as people, person_in_steps.*
    from people_in_steps(source) as person_in_steps
    join period on period.period = person_in_steps.period
)
select
    period.period, case people // 256 % 2 when 1 then 'male' else 'female' end as sex, (people % 256)::smallint as age,
    counted.measure, counted.value, counted.n
from people_by_value('person') as counted
join period on period.number = people // 512;

-- counted_moments(source): how many people, the sum and the sum of squares of each measure, by site and age group
-- inputs  source: as people_in_steps, with change; reference.age_group
-- rule    as tally.moment
create or replace temp macro counted_moments(source) as table
with year_of_age as (
    select
        site, period, sex, age,
        moment_of(columns(* exclude (participant, site, period, sex, age, change)), change)
    from people_in_steps(source)
    group by site, period, sex, age
),
age_group_of_site as (
    select
        site, period, sex, age_group.age_from, age_group.age_to,
        moments_together(columns(year_of_age.* exclude (site, period, sex, age)))
    from year_of_age
    join reference.age_group as age_group on age between age_group.age_from and age_group.age_to
    group by all
),
measured as (
    select site, period, sex, age_from, age_to, measure, moment.n, moment.sum, moment.sum_of_squares
    from age_group_of_site unpivot (moment for measure in (* exclude (site, period, sex, age_from, age_to)))
)
select site, period, sex, age_from, age_to, measure, n, sum, sum_of_squares
from measured
where (n, sum, sum_of_squares) <> (0, 0, 0);

-- people_in_bands(source): the band of each person in a period in each banding
-- inputs  source: as people_in_steps, with change
-- rule    One macro a banding (01_macros_bands.sql), within the banding's ages (pipeline/measures.py, tested). Someone
--         without the measure, or of another age, has null.
create or replace temp macro people_in_bands(source) as table
select
    site, period, sex, age, change,
    case when age between 20 and 99 then band_bmi_adult(bmi_kg_m2) end as bmi_adult,
    case when age between 20 and 99 then band_bmi_adult_asian(bmi_kg_m2) end as bmi_adult_asian,
    case when age between 5 and 19 then band_bmi_child(bmi_z) end as bmi_child,
    case when age between 18 and 99 then band_hydration(sex, total_body_water_percent) end as hydration,
    case when age between 18 and 99 then band_visceral_fat(visceral_fat_level) end as visceral_fat,
    case when age between 20 and 79 then band_body_fat(sex, age, body_fat_percent) end as body_fat,
    case when age between 18 and 99
        then band_fat_lean(sex, fat_mass_index_kg_m2, fat_free_mass_index_kg_m2) end as fat_lean
from query_table(source);

-- people_in(source, name): how many people of a site, sex and age stand in each band of one banding, or how many more
-- inputs  source: the name of a table as people_in_bands makes them
create or replace temp macro people_in(source, name) as table
with every as (
    select site, period, sex, age, change, columns(lambda banding: banding = name) as band from query_table(source)
)
select site, period, sex, age, name as banding, band, sum(change)::bigint as n
from every
where band is not null
group by site, period, sex, age, band
having sum(change) <> 0;

-- people_by_band(source): the same of every banding
create or replace temp macro people_by_band(source) as table
with person as (
    from people_in_bands(source)
)
from people_in('person', 'bmi_adult')
union all from people_in('person', 'bmi_adult_asian')
union all from people_in('person', 'bmi_child')
union all from people_in('person', 'hydration')
union all from people_in('person', 'visceral_fat')
union all from people_in('person', 'body_fat')
union all from people_in('person', 'fat_lean');

-- account_of_the_rest(): what data quality counts of each file that was not accepted
-- inputs  ledger.file, ledger.held_row
-- rule    the columns and rows that 40_result_data_quality.sql reads; codes as often as rows were held for them
create or replace temp macro account_of_the_rest() as table
select
    file.file_id, file.site, file.rows_read, file.rows_accepted, file.rows_held, file.rows_duplicate,
    file.rows_superseded, file.rows_withdrawn, file.rows_expired, reason.codes
from ledger.file as file
left join (
    select file_id, list(code order by code) as codes
    from (select file_id, unnest(codes) as code from ledger.held_row)
    group by file_id
) as reason on reason.file_id = file.file_id
where file.state <> 'accepted';
