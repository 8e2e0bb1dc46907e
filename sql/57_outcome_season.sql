-- outcome_season: products of change and season, for a regression
-- grain   months × start × site of entry
-- inputs  outcome_seen, outcome_site
-- keys    the grain is unique
-- rule    adults who were due and seen, all of them and those at a BMI of 25 or over. c and s: cosine and sine of the
--         day of the year at the follow-up less those at entry; y: weight change in kg. Thousandths before.
-- reruns  a query: it changes nothing
with seen as (
    select *, unnest(case when start_of(class) = 'bmi_25' then ['all', 'bmi_25'] else ['all'] end) as start
    from outcome_seen
    where is_adult(class)
)
select
    months, start, site, sum(weight_change.n)::bigint as n,
    sum(c)::double / 1e3 as c, sum(s)::double / 1e3 as s, sum(weight_change.y)::double / 1e3 as y,
    sum(cc)::double / 1e6 as cc, sum(ss)::double / 1e6 as ss, sum(cs)::double / 1e6 as cs,
    sum(cy)::double / 1e6 as cy, sum(sy)::double / 1e6 as sy
from seen
join outcome_site on outcome_site.site_number = site_of(class)
group by months, start, site
order by all;
