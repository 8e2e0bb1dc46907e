-- result.percentile, the rows of some sites in a period, or at its end of all sites together, appended to those before
-- grain   measure × site × period × sex × age group × percentile
-- inputs  site_percentile (lent by pipeline/results/percentile.py, sorted)
-- keys    (measure, site, period, sex, age_from, age_to, percentile) unique
-- reruns  pipeline/results/percentile.py empties the table, or the period, first
insert into result.percentile (
    measure, unit, site, period, sex, age_from, age_to, percentile, value, low, high, n, method, flag
)
select measure, unit, site, period, sex, age_from, age_to, percentile, value, low, high, n, method, flag
from site_percentile;
