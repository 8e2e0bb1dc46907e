-- outcome_balance: who was due, who was seen, and who the weighted stand for, by what was known at entry
-- grain   months × covariate × level
-- inputs  outcome_follow_up, outcome_weight
-- keys    the grain is unique
-- rule    adults whose follow-up was due; w sums the weights of those seen, of whole thousandths
-- reruns  a query: it changes nothing
with
due as (
    select
        months, is_seen, outcome_weight.weight,
        unnest([
            {covariate: 'sex', level: sex},
            {covariate: 'age', level: case when entry_age < 40 then '20-39' when entry_age < 60 then '40-59' else '60-99' end},
            {covariate: 'bmi', level:
                case when entry_bmi_kg_m2 < 25 then 'under 25' when entry_bmi_kg_m2 < 30 then '25 to 30' else '30 and over' end},
            {covariate: 'kind of site', level: site_start.kind}
        ]) as known
    from outcome_follow_up
    join site_start on site_start.site = outcome_follow_up.entry_site
    left join outcome_weight using (participant, months)
    where is_due and stage = 'adults'
)
select
    months, known.covariate as covariate, known.level as level,
    count(*) as n_due, count(*) filter (where is_seen) as n_seen, coalesce(sum(weight), 0)::double / 1e3 as w
from due
group by all
order by all;
