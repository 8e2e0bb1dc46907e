-- published data_quality: what of result.data_quality goes through disclosure control into a release
-- grain   site × period × item
-- inputs  result.data_quality
-- keys    the grain is unique; site is null for all sites (the store has '' there), period for what has no period
-- rule    a total order
-- reruns  a query: it changes nothing
select nullif(site, '') as site, period, item, severity, n, denominator, proportion, flag
from result.data_quality
order by site nulls first, period nulls first, severity, item;
