-- published percentile: what of result.percentile goes through disclosure control into a release
-- grain   measure × site × period × sex × age group × percentile
-- inputs  result.percentile; $period: null for all; $least, of people for a percentile; $first, of the percentiles
-- keys    the grain is unique; site is null for all sites
-- rule    of a group with fewer people than $least, whose percentiles are all closed, the first stands for all: what a
--         release needs of it is how many people it has. At hundreds of sites most groups are such.
--         a total order; the release puts measures into the order of the registry
-- reruns  a query: it changes nothing
select
    measure, unit, site, period, sex, age_from, age_to, percentile,
    value, low, high, n, method, flag
from result.percentile
where ($period is null or period = $period) and (n >= $least or percentile = $first)
order by measure, site nulls first, period, sex, age_from, age_to, percentile;
