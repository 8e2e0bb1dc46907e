-- site_value_tally: period × sex × age × measure × value → n, of one site; tally.value is the same for all sites
-- grain   period × sex × age × measure × value
-- inputs  person_value; $site
-- keys    (period, sex, age, measure, value) unique, none null
-- rule    n counts people; a measure that was not taken counts nowhere. No order: the percentiles sort what they
--         need, and sorting here took as long as counting.
-- reruns  a query: it changes nothing
select period, sex, age, measure, value, count(*) as n
from (select * exclude (site) from person_value where site = $site) unpivot (
    value for measure in (
        weight, height, bmi, bmi_z, body_fat_percent, fat_mass, fat_free_mass, muscle_mass, total_body_water,
        total_body_water_percent, water_in_fat_free_mass, bone_mineral_mass, basal_metabolic_rate, metabolic_age,
        visceral_fat_level, fat_mass_index, fat_free_mass_index, muscle_mass_index
    )
)
group by period, sex, age, measure, value;
