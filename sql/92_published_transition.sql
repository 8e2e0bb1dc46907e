-- published transition: what of result.transition goes through disclosure control into a release
-- grain   months × banding × band at entry × band at follow-up
-- inputs  result.transition
-- keys    the grain is unique
-- rule    a total order
-- reruns  a query: it changes nothing
select
    months, banding, band_from, band_to, n, denominator, proportion, low, high, method, flag
from result.transition
order by months, banding, band_from, band_to;
