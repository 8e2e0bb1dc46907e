-- site_person_value: sex × age × measure × value → n, of one site; tally.person_value is the same for all sites
-- grain   sex × age × measure × value
-- inputs  last_person_value; $site
-- keys    (sex, age, measure, value) unique, none null
-- rule    n counts people, each once over all periods, at the site of their last counted reading
-- reruns  a query: it changes nothing
select sex, age, measure, value, count(*) as n
from (select * exclude (site) from last_person_value where site = $site) unpivot (
    value for measure in (
        weight, height, bmi, bmi_z, body_fat_percent, fat_mass, fat_free_mass, muscle_mass, total_body_water,
        total_body_water_percent, water_in_fat_free_mass, bone_mineral_mass, basal_metabolic_rate, metabolic_age,
        visceral_fat_level, fat_mass_index, fat_free_mass_index, muscle_mass_index
    )
)
group by sex, age, measure, value
order by all;
