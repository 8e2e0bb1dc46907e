-- published site_heterogeneity: what of result.site_heterogeneity goes through disclosure control into a release
-- grain   topic × band × period × age group
-- inputs  result.site_heterogeneity; $period: null for all
-- keys    the grain is unique
-- rule    a total order
-- reruns  a query: it changes nothing
select
    topic, band, unit, period, sex, age_from, age_to, sites, mean, low, high, between_sd, i_squared, q, p,
    overdispersion, method, flag
from result.site_heterogeneity
where $period is null or period = $period
order by topic, band, period, sex, age_from, age_to;
