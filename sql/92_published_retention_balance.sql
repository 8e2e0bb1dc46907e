-- published retention_balance: what of result.retention_balance goes through disclosure control into a release
-- grain   months × covariate × level
-- inputs  result.retention_balance
-- keys    the grain is unique
-- rule    a total order
-- reruns  a query: it changes nothing
select
    months, covariate, level, n, denominator, share_due, share_seen, share_weighted, difference_before,
    difference_after, method, flag
from result.retention_balance
order by months, covariate, level;
