-- published who_position: what of result.who_position goes through disclosure control into a release
-- grain   period × sex × age group × percentile
-- inputs  result.who_position; $period: null for all
-- keys    the grain is unique
-- rule    a total order; the release puts words into the order of the registry
-- reruns  a query: it changes nothing
select
    period, sex, age_from, age_to, percentile, n, denominator, proportion, low, high, expected, method, flag
from result.who_position
where $period is null or period = $period
order by period, sex, age_from, age_to, percentile;
