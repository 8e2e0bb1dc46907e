-- published prevalence: what of result.prevalence goes through disclosure control into a release
-- grain   banding × band × population × site × period × sex × age group
-- inputs  result.prevalence; $period: null for all
-- keys    the grain is unique; site is null for all sites
-- rule    a total order; the release puts bandings and bands into the order of the registry
-- reruns  a query: it changes nothing
select
    banding, band, population, site, period, sex, age_from, age_to,
    n, denominator, proportion, low, high, design_effect, method, flag
from result.prevalence
where $period is null or period = $period
order by banding, band, population, site nulls first, period, sex, age_from, age_to;
