-- outcome_return: how many came again, by class of visit
-- grain   stratum: site of entry × sex × age class × BMI class × visits so far × change so far
-- inputs  reading.visit, outcome_site; $patience_days
-- keys    the grain is unique
-- rule    adults at entry. n counts decided visits: the site of entry was watched for $patience_days after them.
--         came_again counts those of them that were followed by another within these; later visits are left undecided,
--         so that quick returns do not look like everybody's. A class without a decided visit stays, because its
--         chance is asked for too.
-- reruns  a query: it changes nothing
with
visit as (
    select
        stratum, came_again, coalesce(measured_on + $patience_days::integer <= last_day, false) as is_decided
    from reading.visit
    join outcome_site on outcome_site.site_number = site_of(class)
    where stratum is not null
),
counted as (
    select
        stratum, class_of_stratum(stratum) as class, count(*) filter (where is_decided) as n,
        count(*) filter (where is_decided and came_again) as came_again
    from visit
    group by stratum
)
select
    stratum, site, sex_of(class) as sex, age_from_of(class) as age_from,
    case bmi_from_of(class) when 0 then 'under_25' when 25 then '25_to_30' else '30_and_over' end as bmi_class,
    visits_of(stratum) as visits, change_of(stratum) as change, n, came_again
from counted
join outcome_site on outcome_site.site_number = site_of(class)
order by site, sex, age_from, bmi_class, visits, change;
