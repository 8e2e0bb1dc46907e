-- outcome_fat_share: change of fat and of weight of the same people
-- grain   months × sex × site of entry
-- inputs  outcome_follow_up
-- keys    the grain is unique
-- rule    adults who entered at a BMI of 25 or over, were due and seen, and have both fat masses; sums in kg, of grams
-- reruns  a query: it changes nothing
select
    months, sex, entry_site as site, count(*) as n,
    sum(round(1000 * fat_mass_change)::bigint)::double / 1e3 as fat,
    sum(round(1000 * weight_change)::bigint)::double / 1e3 as weight
from outcome_follow_up
where is_due and is_seen and stage = 'adults' and entry_bmi_kg_m2 >= 25 and fat_mass_change is not null
group by months, sex, entry_site
order by all;
