-- values_of(source, measure): each person's value of one measure, by the whole number of a group
-- inputs  source: the name of a table with site, people (the group) and a column of whole print steps for each measure,
--         as 50_person_value.sql and 34_last_person_value.sql make them
-- rule    a measure that was not taken is no row
create or replace temp macro values_of(source, measure) as table
with every as (
    select site, people, columns(lambda name: name = measure) as value from query_table(source)
)
select site, people, value from every where value is not null;

-- people_with(source, measure, of_site): how many people of a group have each value of one measure
-- inputs  as values_of; of_site: one site, or null for all
create or replace temp macro people_with(source, measure, of_site) as table
select people, measure as measure, value, count(*) as n
from values_of(source, measure)
where of_site is null or site = of_site
group by people, value;

-- people_by_value(source, of_site): how many people have each value of each measure, by the whole number of a group
-- inputs  as people_with
-- rule    a count a measure, because counting by two numbers is several times faster than unpivoting first
create or replace temp macro people_by_value(source, of_site) as table
from people_with(source, 'weight', of_site)
union all from people_with(source, 'height', of_site)
union all from people_with(source, 'bmi', of_site)
union all from people_with(source, 'bmi_z', of_site)
union all from people_with(source, 'body_fat_percent', of_site)
union all from people_with(source, 'fat_mass', of_site)
union all from people_with(source, 'fat_free_mass', of_site)
union all from people_with(source, 'muscle_mass', of_site)
union all from people_with(source, 'total_body_water', of_site)
union all from people_with(source, 'total_body_water_percent', of_site)
union all from people_with(source, 'water_in_fat_free_mass', of_site)
union all from people_with(source, 'bone_mineral_mass', of_site)
union all from people_with(source, 'basal_metabolic_rate', of_site)
union all from people_with(source, 'metabolic_age', of_site)
union all from people_with(source, 'visceral_fat_level', of_site)
union all from people_with(source, 'fat_mass_index', of_site)
union all from people_with(source, 'fat_free_mass_index', of_site)
union all from people_with(source, 'muscle_mass_index', of_site);
