-- outcome_moment: counts and sums of changes, from which every mean, share and interval follows
-- grain   stage × months × measure × start × sex × site of entry
-- inputs  outcome_follow_up, outcome_weight, reliable_change
-- keys    the grain is unique
-- rule    people whose follow-up was due, seen or not. Adults: change of weight, fat and fat-free mass; at a BMI of 25 or
--         over at entry also whether 5 % was lost, and which way the change lies beyond the smallest detectable one
--         (reliable_change: measure, least). Under 20 at entry: change of BMI z-score alone.
--         n_due counts people, n those who have the figure. y, yy: sums of the figure and its square; w, ww, wy, wyy,
--         wwy, wwyy the same weighted, null for children. A figure is in whole thousandths of its unit, or 1000 and 0 for
--         yes and no, and a weight in thousandths, so that sums are exact; both in units here.
-- reruns  a query: it changes nothing
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
figure as (
    select
        months, stage, entry_site as site, sex, start, weight,
        round(1000 * weight_change)::bigint as weight_change,
        round(1000 * weight_change_percent)::bigint as weight_change_percent,
        round(1000 * fat_mass_change)::bigint as fat_mass_change,
        round(1000 * fat_free_mass_change)::bigint as fat_free_mass_change,
        round(1000 * body_fat_percent_change)::bigint as body_fat_percent_change,
        round(1000 * bmi_z_change)::bigint as bmi_z_change,
        1000 * lost_5_percent::bigint as lost_5_percent,
        1000 * (weight_change < -weight_least)::bigint as weight_fell,
        1000 * (abs(weight_change) <= weight_least)::bigint as weight_same,
        1000 * (weight_change > weight_least)::bigint as weight_rose,
        1000 * (body_fat_percent_change < -fat_least)::bigint as fat_fell,
        1000 * (abs(body_fat_percent_change) <= fat_least)::bigint as fat_same,
        1000 * (body_fat_percent_change > fat_least)::bigint as fat_rose,
        case when not is_doubtful then round(1000 * weight_change)::bigint end as weight_change_steady,
        round(1000 * (weight_change - analyser_kg))::bigint as weight_change_levelled
    from due
),
summed as (
    select
        stage, months, start, sex, site, count(*) as n_due,
        weighted_moment_of(weight_change, weight) as weight_change,
        weighted_moment_of(weight_change_percent, weight) as weight_change_percent,
        weighted_moment_of(fat_mass_change, weight) as fat_mass_change,
        weighted_moment_of(fat_free_mass_change, weight) as fat_free_mass_change,
        weighted_moment_of(body_fat_percent_change, weight) as body_fat_percent_change,
        weighted_moment_of(bmi_z_change, weight) as bmi_z_change,
        weighted_moment_of(lost_5_percent, weight) as lost_5_percent,
        weighted_moment_of(weight_fell, weight) as weight_fell,
        weighted_moment_of(weight_same, weight) as weight_same,
        weighted_moment_of(weight_rose, weight) as weight_rose,
        weighted_moment_of(fat_fell, weight) as fat_fell,
        weighted_moment_of(fat_same, weight) as fat_same,
        weighted_moment_of(fat_rose, weight) as fat_rose,
        weighted_moment_of(weight_change_steady, weight) as weight_change_steady,
        weighted_moment_of(weight_change_levelled, weight) as weight_change_levelled
    from figure
    group by stage, months, start, sex, site
)
select
    stage, months, measure, start, sex, site, n_due, moment.n as n,
    moment.y::double / 1e3 as y, moment.yy::double / 1e6 as yy,
    moment.w::double / 1e3 as w, moment.ww::double / 1e6 as ww,
    moment.wy::double / 1e6 as wy, moment.wyy::double / 1e9 as wyy,
    moment.wwy::double / 1e9 as wwy, moment.wwyy::double / 1e12 as wwyy
from summed unpivot (moment for measure in (* exclude (stage, months, start, sex, site, n_due)))
where case when stage = 'children' then measure = 'bmi_z_change'
           when start = 'bmi_25' then measure <> 'bmi_z_change'
           else measure in ('weight_change', 'weight_change_percent', 'fat_mass_change', 'fat_free_mass_change',
               'body_fat_percent_change', 'weight_change_steady', 'weight_change_levelled') end
order by all;
