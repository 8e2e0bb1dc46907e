-- terminal_digit: how many readings end in each digit, in the unit in which they were read, by site
-- grain   site × period × measure × digit; period null for all periods
-- inputs  tally.last_digit
-- keys    the grain is unique
-- rule    weights of all periods are those of each; heights count once a person, so that those of all periods are fewer
-- reruns  a query: it changes nothing
select site, period, measure, digit, n from tally.last_digit
union all
select site, null, measure, digit, sum(n)::bigint from tally.last_digit where measure = 'weight' group by all
order by site, period nulls first, measure, digit;
