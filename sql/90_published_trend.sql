-- published trend: what of result.trend goes through disclosure control into a release
-- grain   banding × band × sex × age total
-- inputs  result.trend
-- keys    the grain is unique
-- rule    a total order; the release puts words into the order of the registry
-- reruns  a query: it changes nothing
select
    banding, band, sex, age_from, age_to, period_from, period_to, periods,
    n, denominator, odds_ratio, low, high, points_a_period, p, method, flag
from result.trend
order by banding, band, sex, age_from, age_to;
