-- digest_of_period: tells a period's results from others, without reading them out
-- grain   table × period
-- inputs  the tables of result.* of which a period's rows stand on that period alone; of percentiles the digests kept
--         in ledger.percentile_digest, which has one of every period
-- keys    the grain is unique
-- rule    number of rows, and their hashes added up both ways, so that their order does not matter
-- reruns  a query: it changes nothing
with hashed as (
    select 'prevalence' as "table", period, hash(row) as hash from result.prevalence as row
    union all
    select 'standardised_prevalence', period, hash(row) from result.standardised_prevalence as row
    union all
    select 'who_position', period, hash(row) from result.who_position as row
    union all
    select 'site_comparison', period, hash(row) from result.site_comparison as row
    union all
    select 'site_heterogeneity', period, hash(row) from result.site_heterogeneity as row
)
select "table", period, concat_ws(' ', count(*), bit_xor(hash), sum(hash::hugeint)) as digest
from hashed
group by "table", period
union all
select 'percentile', period, digest from ledger.percentile_digest
order by "table", period;
