-- outcome_weight (temporary): how many people each person who was seen stands for
-- grain   person × months, adults whose follow-up was due and who were seen
-- inputs  outcome_change, reading.visit, outcome_due, outcome_chance
-- keys    (person, months) unique
-- rule    One over the chance of having come again after every visit before the follow-up's reading; the
--         outermost 0.5 % at either end are drawn in; then scaled so that each site of entry counts with all its people
--         who were due. Sites with fewer than 10 seen are scaled together. In whole thousandths, so that sums are exact.
-- reruns  replaced whole
create or replace temp table outcome_weight as
with
earlier as (
    select person, visit, minus_log
    from reading.visit
    join outcome_chance on outcome_chance.stratum = reading.visit.stratum
),
raw as (
    select
        seen.person, seen.months, any_value(site_of(seen.class)) as site_number,
        exp(sum(earlier.minus_log)::double / 1e6) as weight
    from outcome_change as seen
    join earlier on earlier.person = seen.person and earlier.visit < seen.visit
    group by seen.person, seen.months
),
edge as (
    select months, quantile_disc(weight, 0.005) as low, quantile_disc(weight, 0.995) as high from raw group by months
),
bounded as (
    select
        raw.person, raw.months, raw.site_number,
        round(1000 * greatest(edge.low, least(edge.high, raw.weight)))::bigint as weight
    from raw
    join edge on edge.months = raw.months
),
site as (
    select months, site_of(class) as site_number, sum(n_due) as n_due, sum(n_seen) as n_seen
    from outcome_due
    where is_adult(class)
    group by all
),
post as (
    select months, site_number, case when n_seen >= 10 then site_number else 0 end as scaled_with, n_due from site
),
scale as (
    select post.months, post.scaled_with, sum(post.n_due)::double / (sum(held.weight)::double / 1000) as factor
    from post
    left join (
        select months, site_number, sum(weight) as weight from bounded group by months, site_number
    ) as held on held.months = post.months and held.site_number = post.site_number
    group by post.months, post.scaled_with
)
select
    bounded.person, bounded.months, greatest(1, round(bounded.weight * scale.factor))::bigint as weight
from bounded
join post on post.months = bounded.months and post.site_number = bounded.site_number
join scale on scale.months = post.months and scale.scaled_with = post.scaled_with;
