-- outcome_change (temporary): each person's changes at each follow-up, one row a figure, due or not seen alike
-- grain   participant × months × measure
-- inputs  outcome_follow_up, outcome_weight, reliable_change
-- keys    (participant, months, measure) unique
-- rule    people whose follow-up was due. value is in whole thousandths of the measure's unit, or 1000 and 0 for yes
--         and no; null for those not seen or without the measure. Adults: change of weight, fat and fat-free mass; at
--         a BMI of 25 or over at entry also whether 5 % was lost, and which way the change lies beyond the smallest
--         detectable one (reliable_change: measure, least). Under 20 at entry: change of BMI z-score alone.
--         weight stands for how many people, in whole thousandths; null for children and those not seen.
-- reruns  replaced whole
create or replace temp table outcome_change as
with
due as (
    select
        follow_up.*, outcome_weight.weight,
        case when entry_bmi_kg_m2 >= 25 then 'bmi_25' else 'under_25' end as start,
        weight_error.least as weight_least, fat_error.least as fat_least
    from outcome_follow_up as follow_up
    left join outcome_weight using (participant, months)
    left join reliable_change as weight_error on weight_error.measure = 'weight'
    left join reliable_change as fat_error on fat_error.measure = 'body_fat_percent'
    where is_due
),
wide as (
    select
        participant, months, stage, entry_site as site, sex, start, weight,
        1000 * weight_change as weight_change,
        1000 * weight_change_percent as weight_change_percent,
        1000 * fat_mass_change as fat_mass_change,
        1000 * fat_free_mass_change as fat_free_mass_change,
        1000 * body_fat_percent_change as body_fat_percent_change,
        1000 * bmi_z_change as bmi_z_change,
        1000.0 * lost_5_percent::integer as lost_5_percent,
        1000.0 * (weight_change < -weight_least)::integer as weight_fell,
        1000.0 * (abs(weight_change) <= weight_least)::integer as weight_same,
        1000.0 * (weight_change > weight_least)::integer as weight_rose,
        1000.0 * (body_fat_percent_change < -fat_least)::integer as fat_fell,
        1000.0 * (abs(body_fat_percent_change) <= fat_least)::integer as fat_same,
        1000.0 * (body_fat_percent_change > fat_least)::integer as fat_rose,
        case when not is_doubtful then 1000 * weight_change end as weight_change_steady,
        1000 * (weight_change - analyser_kg) as weight_change_levelled
    from due
)
select participant, months, stage, site, sex, start, weight, measure, round(value)::bigint as value
from wide unpivot include nulls (value for measure in (
    weight_change, weight_change_percent, fat_mass_change, fat_free_mass_change, body_fat_percent_change,
    bmi_z_change, lost_5_percent, weight_fell, weight_same, weight_rose, fat_fell, fat_same, fat_rose,
    weight_change_steady, weight_change_levelled
))
where case when stage = 'children' then measure = 'bmi_z_change'
           when start = 'bmi_25' then measure <> 'bmi_z_change'
           else measure in ('weight_change', 'weight_change_percent', 'fat_mass_change', 'fat_free_mass_change',
               'body_fat_percent_change', 'weight_change_steady', 'weight_change_levelled') end;
