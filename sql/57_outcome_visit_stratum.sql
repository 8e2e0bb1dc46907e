-- outcome_visit_stratum (temporary): each visit of an adult, in the class by which its chance of another is reckoned
-- grain   participant × visit
-- inputs  outcome_visit; $patience_days
-- keys    (participant, visit) unique
-- rule    adults at entry. change: weight change since entry, in whole percent, drawn in to −12 … 8.
--         is_decided: the site of entry was watched for $patience_days after the visit; came_again: another visit
--         within them. Later visits are left undecided, so that quick returns do not look like everybody's.
-- reruns  replaced whole
create or replace temp table outcome_visit_stratum as
select
    participant, visit, entry_site as site, sex,
    case when entry_age < 40 then 20 when entry_age < 60 then 40 else 60 end as age_from,
    case when entry_bmi_kg_m2 < 25 then 'under_25' when entry_bmi_kg_m2 < 30 then '25_to_30' else '30_and_over' end
        as bmi_class,
    least(visit, 4) as visits,
    greatest(-12, least(8, round(100 * (weight_kg - entry_weight_kg) / entry_weight_kg)))::integer as change,
    measured_on + $patience_days::integer <= last_day as is_decided,
    coalesce(
        date_diff('day', measured_on, lead(measured_on) over (partition by participant order by visit))
        <= $patience_days, false
    ) as came_again
from outcome_visit
where entry_age >= 20;
