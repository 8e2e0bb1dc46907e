-- published measurement_error: what of result.measurement_error goes through disclosure control into a release
-- grain   measure × source
-- inputs  result.measurement_error
-- keys    the grain is unique
-- rule    a total order
-- reruns  a query: it changes nothing
select
    measure, unit, source, n, error, percent_error, reliability, smallest_detectable_change, case when is_used
    then 'yes' else 'no' end as is_used, method, flag
from result.measurement_error
order by measure, source;
