-- published group_time_effect: what of result.group_time_effect goes through disclosure control into a release
-- grain   kind × start × period × time since the start
-- inputs  result.group_time_effect
-- keys    the grain is unique
-- rule    a total order
-- reruns  a query: it changes nothing
select
    kind, started, measured_in, event_time, n, comparison_n, sites, comparison_sites, value, low, high, p, method,
    flag
from result.group_time_effect
order by kind, started nulls first, measured_in nulls first, event_time nulls first;
