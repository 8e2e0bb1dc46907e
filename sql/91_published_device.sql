-- published device: what of result.device goes through disclosure control into a release
-- grain   site × device × measure × period
-- inputs  result.device
-- keys    the grain is unique; device is null where the site's files do not name it
-- rule    a total order
-- reruns  a query: it changes nothing
select
    site, device, measure, period, n, difference, low, high, upper_sum, lower_sum, decision, signal, method, flag
from result.device
order by site, device nulls first, measure, period;
