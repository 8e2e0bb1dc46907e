-- published outcome: what of result.outcome goes through disclosure control into a release
-- grain   months × measure × statistic × start × sex × estimator
-- inputs  result.outcome
-- keys    the grain is unique
-- rule    a total order
-- reruns  a query: it changes nothing
select
    months, measure, unit, statistic, start, sex, age_from, age_to, estimator, nullif(direction, '') as
    direction, n, denominator, value, low, high, effective_n, method, flag
from result.outcome
order by age_from desc, months, measure, unit, statistic, start, sex, estimator;
