-- outcome_site_stratum: changes by site of entry and class of people, for the comparison of sites
-- grain   months × site of entry × stratum
-- inputs  outcome_seen, outcome_site
-- keys    the grain is unique
-- rule    adults who were due and seen. stratum: sex, age class and BMI class at entry, numbered in that order.
--         change in percent of weight; n_25 and lost count those at 25 or over, and who lost 5 %
-- reruns  a query: it changes nothing
select
    months, site, dense_rank() over (order by sex_of(class), age_from_of(class), bmi_from_of(class)) as stratum,
    weight_change_percent.n as n, weight_change_percent.y::double / 1e3 as y,
    weight_change_percent.yy::double / 1e6 as yy,
    case when start_of(class) = 'bmi_25' then lost_5_percent.n else 0 end as n_25,
    case when start_of(class) = 'bmi_25' then lost_5_percent.y // 1000 else 0 end::bigint as lost
from outcome_seen
join outcome_site on outcome_site.site_number = site_of(class)
where is_adult(class)
order by months, site, stratum;
