-- published site_comparison: what of result.site_comparison goes through disclosure control into a release
-- grain   topic × band × site × period × age group
-- inputs  result.site_comparison; $period: null for all
-- keys    the grain is unique
-- rule    a total order, by the site's name: sites are not ranked
-- reruns  a query: it changes nothing
select
    topic, band, unit, site, period, sex, age_from, age_to, n, denominator, value, low, high, reference,
    expected, ratio, ratio_low, ratio_high,
    funnel_low_95, funnel_high_95, funnel_low_998, funnel_high_998,
    score, q_value, shrunken, shrunken_low, shrunken_high, method, flag
from result.site_comparison
where $period is null or period = $period
order by topic, band, period, site, sex, age_from, age_to;
