-- outcome_fat_share: change of fat and of weight of the same people
-- grain   months × sex × site of entry
-- inputs  outcome_seen, outcome_site
-- keys    the grain is unique
-- rule    adults who entered at a BMI of 25 or over, were due and seen, and have both fat masses; sums in kg
-- reruns  a query: it changes nothing
select
    months, sex_of(class) as sex, site, sum(fat_mass_change.n)::bigint as n,
    sum(fat_mass_change.y)::double / 1e3 as fat, sum(weight_beside_fat)::double / 1e3 as weight
from outcome_seen
join outcome_site on outcome_site.site_number = site_of(class)
where is_adult(class) and start_of(class) = 'bmi_25' and fat_mass_change.n > 0
group by months, sex, site
order by all;
