-- people_by_value(source, of_site): how many people have each value of each measure, by the whole number of a group
-- inputs  source: the name of a table with people (the group) and a column of whole print steps for each measure, as
--         50_person_value.sql and 34_last_person_value.sql make them; of_site: one site, or null for all
-- rule    a measure that was not taken counts nowhere; a count a measure, because counting by two numbers is several
--         times faster than unpivoting first
create or replace temp macro people_by_value(source, of_site) as table
with here as (
    select * from query_table(source) where of_site is null or site = of_site
)
select people, 'weight' as measure, weight as value, count(*) as n from here where weight is not null
group by people, value
union all
select people, 'height' as measure, height as value, count(*) as n from here where height is not null
group by people, value
union all
select people, 'bmi' as measure, bmi as value, count(*) as n from here where bmi is not null
group by people, value
union all
select people, 'bmi_z' as measure, bmi_z as value, count(*) as n from here where bmi_z is not null
group by people, value
union all
select people, 'body_fat_percent' as measure, body_fat_percent as value, count(*) as n from here where body_fat_percent is not null
group by people, value
union all
select people, 'fat_mass' as measure, fat_mass as value, count(*) as n from here where fat_mass is not null
group by people, value
union all
select people, 'fat_free_mass' as measure, fat_free_mass as value, count(*) as n from here where fat_free_mass is not null
group by people, value
union all
select people, 'muscle_mass' as measure, muscle_mass as value, count(*) as n from here where muscle_mass is not null
group by people, value
union all
select people, 'total_body_water' as measure, total_body_water as value, count(*) as n from here where total_body_water is not null
group by people, value
union all
select people, 'total_body_water_percent' as measure, total_body_water_percent as value, count(*) as n from here where total_body_water_percent is not null
group by people, value
union all
select people, 'water_in_fat_free_mass' as measure, water_in_fat_free_mass as value, count(*) as n from here where water_in_fat_free_mass is not null
group by people, value
union all
select people, 'bone_mineral_mass' as measure, bone_mineral_mass as value, count(*) as n from here where bone_mineral_mass is not null
group by people, value
union all
select people, 'basal_metabolic_rate' as measure, basal_metabolic_rate as value, count(*) as n from here where basal_metabolic_rate is not null
group by people, value
union all
select people, 'metabolic_age' as measure, metabolic_age as value, count(*) as n from here where metabolic_age is not null
group by people, value
union all
select people, 'visceral_fat_level' as measure, visceral_fat_level as value, count(*) as n from here where visceral_fat_level is not null
group by people, value
union all
select people, 'fat_mass_index' as measure, fat_mass_index as value, count(*) as n from here where fat_mass_index is not null
group by people, value
union all
select people, 'fat_free_mass_index' as measure, fat_free_mass_index as value, count(*) as n from here where fat_free_mass_index is not null
group by people, value
union all
select people, 'muscle_mass_index' as measure, muscle_mass_index as value, count(*) as n from here where muscle_mass_index is not null
group by people, value;

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
