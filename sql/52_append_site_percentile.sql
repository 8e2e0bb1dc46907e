-- result.percentile, the rows of one site, or at the end of all sites together, appended to those before
-- grain   measure × site × period × sex × age group × percentile
-- inputs  site_percentile (lent by pipeline/results.py, sorted)
-- keys    (measure, site, period, sex, age_from, age_to, percentile) unique
-- reruns  pipeline/results.py empties the table first
insert into result.percentile (
    measure, unit, site, period, sex, age_from, age_to, percentile, value, low, high, n, method, flag
)
select measure, unit, site, period, sex, age_from, age_to, percentile, value, low, high, n, method, flag
from site_percentile;
