-- outcome_entry: how BMI was spread at entry, for the regression to the mean
-- grain   months × sex
-- inputs  outcome_due
-- keys    the grain is unique
-- rule    adults whose follow-up was due. n, x, xx: everybody's BMI at entry, its sum and its square's; n_25, weight_25,
--         height_squared_25: those at 25 or over, sums of kg and m². Thousandths of kg/m², of kg and of m² before.
-- reruns  a query: it changes nothing
select
    months, sex_of(class) as sex, sum(n_due)::bigint as n, sum(bmi)::double / 1e3 as x,
    sum(bmi_squared)::double / 1e6 as xx,
    coalesce(sum(n_due) filter (where start_of(class) = 'bmi_25'), 0)::bigint as n_25,
    sum(weight) filter (where start_of(class) = 'bmi_25')::double / 1e3 as weight_25,
    sum(height_squared) filter (where start_of(class) = 'bmi_25')::double / 1e6 as height_squared_25
from outcome_due
where is_adult(class)
group by months, sex
order by all;
