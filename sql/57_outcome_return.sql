-- outcome_return: how many came again, by class of visit
-- grain   site × sex × age class × BMI class × visits so far × change so far
-- inputs  outcome_visit_stratum
-- keys    the grain is unique
-- rule    n counts decided visits, came_again those of them that were followed by another; a class without any stays,
--         because its chance is asked for too
-- reruns  a query: it changes nothing
select
    site, sex, age_from, bmi_class, visits, change,
    count(*) filter (where is_decided) as n, count(*) filter (where is_decided and came_again) as came_again
from outcome_visit_stratum
group by all
order by all;
