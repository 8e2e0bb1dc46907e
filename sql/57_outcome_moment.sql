-- outcome_moment: counts and sums of changes, from which every mean, share and interval follows
-- grain   stage × months × measure × start × sex × site of entry
-- inputs  outcome_due, outcome_seen, outcome_site
-- keys    the grain is unique
-- rule    People whose follow-up was due, seen or not. Adults: change of weight, fat and fat-free mass; at a BMI of 25 or
--         over at entry also whether 5 % was lost, and which way the change lies beyond the smallest detectable one.
--         Under 20 at entry: change of BMI z-score alone.
--         n_due counts people, n those who have the figure. y, yy: sums of the figure and its square; w, ww, wy, wyy,
--         wwy, wwyy the same weighted, null for children; in units here, thousandths before.
-- reruns  a query: it changes nothing
with
due as (
    select
        stage_of(class) as stage, months, start_of(class) as start, sex_of(class) as sex, site_of(class) as site_number,
        sum(n_due)::bigint as n_due
    from outcome_due
    group by all
),
asked as (
    select 'children' as stage, start, 'bmi_z_change' as measure
    from (select unnest(['bmi_25', 'under_25']) as start)
    union all
    select 'adults', start, measure
    from (select unnest(['bmi_25', 'under_25']) as start)
    cross join (select unnest([
        'weight_change', 'weight_change_percent', 'fat_mass_change', 'fat_free_mass_change', 'body_fat_percent_change',
        'weight_change_steady', 'weight_change_levelled']) as measure)
    union all
    select 'adults', 'bmi_25', measure
    from (select unnest([
        'lost_5_percent', 'weight_fell', 'weight_same', 'weight_rose', 'fat_fell', 'fat_same', 'fat_rose']) as measure)
),
summed as (
    select
        months, measure, stage_of(class) as stage, start_of(class) as start, sex_of(class) as sex,
        site_of(class) as site_number, sum(moment.n)::bigint as n, sum(moment.y) as y, sum(moment.yy) as yy,
        sum(moment.w) as w, sum(moment.ww) as ww, sum(moment.wy) as wy, sum(moment.wyy) as wyy,
        sum(moment.wwy) as wwy, sum(moment.wwyy) as wwyy
    from outcome_seen unpivot (moment for measure in (
        weight_change, weight_change_percent, fat_mass_change, fat_free_mass_change, body_fat_percent_change,
        bmi_z_change, lost_5_percent, weight_fell, weight_same, weight_rose, fat_fell, fat_same, fat_rose,
        weight_change_steady, weight_change_levelled
    ))
    group by all
)
select
    due.stage, due.months, asked.measure, due.start, due.sex, outcome_site.site, due.n_due,
    coalesce(summed.n, 0) as n, summed.y::double / 1e3 as y, summed.yy::double / 1e6 as yy,
    summed.w::double / 1e3 as w, summed.ww::double / 1e6 as ww, summed.wy::double / 1e6 as wy,
    summed.wyy::double / 1e9 as wyy, summed.wwy::double / 1e9 as wwy, summed.wwyy::double / 1e12 as wwyy
from due
join asked on asked.stage = due.stage and asked.start = due.start
join outcome_site on outcome_site.site_number = due.site_number
left join summed on summed.months = due.months and summed.measure = asked.measure and summed.stage = due.stage
    and summed.start = due.start and summed.sex = due.sex and summed.site_number = due.site_number
order by due.stage, due.months, asked.measure, due.start, due.sex, outcome_site.site;
