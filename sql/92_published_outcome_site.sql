-- published outcome_site: what of result.outcome_site goes through disclosure control into a release
-- grain   months × topic × site
-- inputs  result.outcome_site
-- keys    the grain is unique
-- rule    a total order
-- reruns  a query: it changes nothing
select
    months, topic, unit, site, n, denominator, value, low, high, reference, funnel_low_95, funnel_high_95,
    funnel_low_998, funnel_high_998, score, q_value, shrunken, shrunken_low, shrunken_high, target,
    target_probability, method, flag
from result.outcome_site
order by months, topic, site;
