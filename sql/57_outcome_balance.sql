-- outcome_balance: who was due, who was seen, and who the weighted stand for, by what was known at entry
-- grain   months × covariate × level
-- inputs  outcome_due, outcome_seen, outcome_site
-- keys    the grain is unique
-- rule    adults whose follow-up was due; w sums the weights of those seen, of whole thousandths
-- reruns  a query: it changes nothing
with
due as (
    select
        due.months, due.n_due, due.n_seen, seen.weight_change.w as weight,
        unnest([
            {covariate: 'sex', level: sex_of(due.class)},
            {covariate: 'age', level:
                case age_from_of(due.class) when 20 then '20-39' when 40 then '40-59' else '60-99' end},
            {covariate: 'bmi', level:
                case bmi_from_of(due.class) when 0 then 'under 25' when 25 then '25 to 30' else '30 and over' end},
            {covariate: 'kind of site', level: outcome_site.kind}
        ]) as known
    from outcome_due as due
    join outcome_site on outcome_site.site_number = site_of(due.class)
    left join outcome_seen as seen on seen.months = due.months and seen.class = due.class
    where is_adult(due.class)
)
select
    months, known.covariate as covariate, known.level as level,
    sum(n_due)::bigint as n_due, sum(n_seen)::bigint as n_seen, coalesce(sum(weight), 0)::double / 1e3 as w
from due
group by all
order by all;
