-- published standardised_prevalence: what of result.standardised_prevalence goes through disclosure control into a release
-- grain   banding × band × population × site × period × sex × age total
-- inputs  result.standardised_prevalence; $period: null for all
-- keys    the grain is unique; site is null for all sites
-- rule    a total order; the release puts words into the order of the registry. person_weight is for disclosure control
--         alone: the schema of the release has no such column.
-- reruns  a query: it changes nothing
select
    banding, band, population, site, period, sex, age_from, age_to, standard,
    n, denominator, proportion, low, high, method, flag, person_weight
from result.standardised_prevalence
where $period is null or period = $period
order by banding, band, population, site nulls first, period, sex, age_from, age_to;
