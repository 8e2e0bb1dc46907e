-- published curve_diagnostic: what of result.curve_diagnostic goes through disclosure control into a release
-- grain   measure × sex × age group × diagnostic × at
-- inputs  result.curve_diagnostic
-- keys    the grain is unique
-- rule    a total order; the release puts words into the order of the registry
-- reruns  a query: it changes nothing
select
    measure, sex, age_from, age_to, diagnostic, "at", observed, expected, low, high, n, flag
from result.curve_diagnostic
order by measure, sex, age_from, age_to, diagnostic, "at";
