-- published curve: what of result.curve goes through disclosure control into a release
-- grain   measure × sex
-- inputs  result.curve
-- keys    the grain is unique
-- rule    a total order; the release puts words into the order of the registry
-- reruns  a query: it changes nothing
select
    measure, unit, sex, n, age_from, age_to, method, why, flag
from result.curve
order by measure, sex;
