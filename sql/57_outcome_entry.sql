-- outcome_entry: how BMI was spread at entry, for the regression to the mean
-- grain   months × sex
-- inputs  outcome_follow_up
-- keys    the grain is unique
-- rule    adults whose follow-up was due. n, x, xx: everybody's BMI at entry in thousandths, its sum and its square's;
--         n_25, weight_25, height_squared_25: those at 25 or over, sums of kg and m²
-- reruns  a query: it changes nothing
select
    months, sex, count(*) as n,
    sum(round(1000 * entry_bmi_kg_m2)::bigint)::double / 1e3 as x,
    sum(pow(round(1000 * entry_bmi_kg_m2), 2)::hugeint)::double / 1e6 as xx,
    count(*) filter (where entry_bmi_kg_m2 >= 25) as n_25,
    sum(round(1000 * entry_weight_kg)::bigint) filter (where entry_bmi_kg_m2 >= 25)::double / 1e3 as weight_25,
    sum(round(100 * entry_height_cm * entry_height_cm)::bigint) filter (where entry_bmi_kg_m2 >= 25)::double / 1e6
        as height_squared_25
from outcome_follow_up
where is_due and stage = 'adults'
group by months, sex
order by all;
