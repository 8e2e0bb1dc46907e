-- published noisy count: the true counts behind the table of noisy ones, which alone may leave the store
-- grain   period × sex × age × banding × band
-- inputs  tally.band
-- keys    the grain is unique
-- rule    one banding for adults and one for children, whose ages do not overlap: a person who counts in a period
--         stands in exactly one row of that period, once
-- reruns  a query: it changes nothing
select period, sex, age, banding, band, sum(n)::bigint as n
from tally.band
where banding in ('bmi_adult', 'bmi_child')
group by period, sex, age, banding, band
order by period, sex, age, banding, band;
