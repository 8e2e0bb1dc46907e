-- published instrument_check: what of result.instrument_check goes through disclosure control into a release
-- grain   site × period × check
-- inputs  result.instrument_check
-- keys    the grain is unique; period is null for all periods
-- rule    a total order
-- reruns  a query: it changes nothing
select site, period, "check", n, denominator, statistic, p, value, method, flag
from result.instrument_check
order by "check", site, period nulls first;
