-- outcome_weight (temporary): how many people each person who was seen stands for
-- grain   participant × months, adults whose follow-up was due and who were seen
-- inputs  outcome_follow_up, outcome_visit_stratum, return_chance
-- keys    (participant, months) unique
-- rule    One over the chance of having come again after every visit before the follow-up's reading; the
--         outermost 0.5 % at either end are drawn in; then scaled so that each site of entry counts with all its people
--         who were due. Sites with fewer than 10 seen are scaled
--         together. In whole thousandths, so that sums are exact.
-- reruns  replaced whole
create or replace temp table outcome_weight as
with
-- whole millionths of a logarithm, so that the order of adding does not matter
chance as (
    select stratum.participant, stratum.visit, round(-1e6 * ln(return_chance.chance))::bigint as minus_log
    from outcome_visit_stratum as stratum
    join return_chance using (site, sex, age_from, bmi_class, visits, change)
),
raw as (
    select
        seen.participant, seen.months, seen.entry_site, exp(sum(chance.minus_log)::double / 1e6) as weight
    from outcome_follow_up as seen
    join chance on chance.participant = seen.participant and chance.visit < seen.visit
    where seen.is_due and seen.is_seen and seen.stage = 'adults'
    group by seen.participant, seen.months, seen.entry_site
),
edge as (
    select months, quantile_disc(weight, 0.005) as low, quantile_disc(weight, 0.995) as high from raw group by months
),
bounded as (
    select
        raw.participant, raw.months, raw.entry_site,
        round(1000 * greatest(edge.low, least(edge.high, raw.weight)))::bigint as weight
    from raw
    join edge using (months)
),
site as (
    select
        months, entry_site, count(*) as n_due, count(*) filter (where is_seen) as n_seen
    from outcome_follow_up
    where is_due and stage = 'adults'
    group by months, entry_site
),
post as (
    select months, entry_site, case when n_seen >= 10 then entry_site else '' end as scaled_with, n_due from site
),
scale as (
    select post.months, post.scaled_with, sum(post.n_due)::double / (sum(held.weight)::double / 1000) as factor
    from post
    left join (
        select months, entry_site, sum(weight) as weight from bounded group by months, entry_site
    ) as held using (months, entry_site)
    group by post.months, post.scaled_with
)
select
    bounded.participant, bounded.months,
    greatest(1, round(bounded.weight * scale.factor))::bigint as weight
from bounded
join post using (months, entry_site)
join scale on scale.months = post.months and scale.scaled_with = post.scaled_with;
