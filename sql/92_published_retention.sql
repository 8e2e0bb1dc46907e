-- published retention: what of result.retention goes through disclosure control into a release
-- grain   participants' follow-up × site or period of entry × status
-- inputs  result.retention
-- keys    the grain is unique
-- rule    a total order
-- reruns  a query: it changes nothing
select
    months, site, entry_period, age_from, age_to, status, n, denominator, proportion, low, high, method, flag
from result.retention
order by months, age_from desc, site nulls first, entry_period nulls first, status;
