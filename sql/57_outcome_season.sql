-- outcome_season: products of change and season, for a regression
-- grain   months × start × site of entry
-- inputs  outcome_follow_up
-- keys    the grain is unique
-- rule    adults who were due and seen, all of them and those at a BMI of 25 or over. c and s: cosine and sine of the
--         day of the year at the follow-up less those at entry; y: weight change in kg. Whole thousandths.
-- reruns  a query: it changes nothing
with
seen as (
    select
        months, entry_site as site, unnest(case when entry_bmi_kg_m2 >= 25 then ['all', 'bmi_25'] else ['all'] end) as start,
        round(1000 * season_cos)::bigint as c, round(1000 * season_sin)::bigint as s,
        round(1000 * weight_change)::bigint as y
    from outcome_follow_up
    where is_due and is_seen and stage = 'adults'
)
select
    months, start, site, count(*) as n,
    sum(c)::double / 1e3 as c, sum(s)::double / 1e3 as s, sum(y)::double / 1e3 as y,
    sum(c * c)::double / 1e6 as cc, sum(s * s)::double / 1e6 as ss, sum(c * s)::double / 1e6 as cs,
    sum(c * y)::double / 1e6 as cy, sum(s * y)::double / 1e6 as sy
from seen
group by months, start, site
order by all;
