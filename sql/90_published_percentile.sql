-- published percentile: what of result.percentile goes through disclosure control into a release
-- grain   measure × site × period × sex × age group × percentile
-- inputs  result.percentile; $period: null for all; $least, of people for a percentile; $first, of the percentiles
-- keys    the grain is unique; site is null for all sites
-- rule    of a group with fewer people than $least, whose percentiles are all closed, the first stands for all: what a
--         release needs of it is how many people it has. At hundreds of sites most groups are such.
--         In no order: of a million rows a quarter that costs more than reading them, and rows are put in a reader's
--         order as they are published (pipeline/release/row_order.py)
-- reruns  a query: it changes nothing
select
    measure, unit, site, period, sex, age_from, age_to, percentile,
    value, low, high, n, method, flag
from result.percentile
where ($period is null or period = $period) and (n >= $least or percentile = $first);
