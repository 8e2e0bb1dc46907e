-- tally.person_value: how many people have each value of each measure, each person once over all periods, all sites
-- grain   sex × age × measure × value
-- inputs  last_person_value
-- keys    (sex, age, measure, value) unique, none null
-- rule    value counts print steps; a measure that was not taken counts nowhere. A new period moves people from their
--         older readings, so the table is written whole: it is one pass over people, not over readings.
-- reruns  replaced whole
delete from tally.person_value;

insert into tally.person_value (sex, age, measure, value, n)
select sex, age, measure, value, count(*) as n
from (select * exclude (site) from last_person_value) unpivot (
    value for measure in (
        weight, height, bmi, bmi_z, body_fat_percent, fat_mass, fat_free_mass, muscle_mass, total_body_water,
        total_body_water_percent, water_in_fat_free_mass, bone_mineral_mass, basal_metabolic_rate, metabolic_age,
        visceral_fat_level, fat_mass_index, fat_free_mass_index, muscle_mass_index
    )
)
group by sex, age, measure, value
order by all;
