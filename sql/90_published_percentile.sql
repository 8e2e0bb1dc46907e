-- published percentile: what of result.percentile goes through disclosure control into a release
-- grain   measure × site × period × sex × age group × percentile
-- inputs  result.percentile
-- keys    the grain is unique; site is null for all sites
-- rule    a total order; the release puts measures into the order of the registry
-- reruns  a query: it changes nothing
select
    measure, unit, site, period, sex, age_from, age_to, percentile,
    value, low, high, n, method, flag
from result.percentile
order by measure, site nulls first, period, sex, age_from, age_to, percentile;
