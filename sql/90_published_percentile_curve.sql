-- published percentile_curve: what of result.percentile_curve goes through disclosure control into a release
-- grain   measure × sex × age × percentile
-- inputs  result.percentile_curve
-- keys    the grain is unique
-- rule    a total order; the release puts words into the order of the registry
-- reruns  a query: it changes nothing
select
    measure, unit, sex, age, percentile, value, low, high, n, method, flag
from result.percentile_curve
order by measure, sex, age, percentile;
