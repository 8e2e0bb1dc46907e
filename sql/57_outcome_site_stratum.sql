-- outcome_site_stratum: changes by site of entry and class of people, for the comparison of sites
-- grain   months × site of entry × stratum
-- inputs  outcome_follow_up
-- keys    the grain is unique
-- rule    adults who were due and seen. stratum: sex, age class and BMI class at entry, numbered in that order.
--         change in percent of weight, thousandths; n_25 and lost count those at 25 or over, and who lost 5 %
-- reruns  a query: it changes nothing
select
    months, entry_site as site,
    dense_rank() over (order by sex, age_from, bmi_class) as stratum,
    count(*) as n,
    sum(change)::double / 1e3 as y, sum(change * change)::double / 1e6 as yy,
    count(*) filter (where bmi_class > 0) as n_25,
    count(*) filter (where bmi_class > 0 and lost_5_percent) as lost
from (
    select
        months, entry_site, sex, lost_5_percent,
        case when entry_age < 40 then 20 when entry_age < 60 then 40 else 60 end as age_from,
        case when entry_bmi_kg_m2 < 25 then 0 when entry_bmi_kg_m2 < 30 then 1 else 2 end as bmi_class,
        round(1000 * weight_change_percent)::bigint as change
    from outcome_follow_up
    where is_due and is_seen and stage = 'adults'
)
group by months, entry_site, sex, age_from, bmi_class
order by all;
