-- ledger.percentile_digest: tells a period's percentiles from others, without reading them out
-- grain   period
-- inputs  result.percentile; $period
-- keys    period unique, not null
-- rule    number of rows, and their hashes added up both ways, so that their order does not matter. Of ten million rows
--         nobody wants to ask every night what they are: whoever writes a period's writes its digest
--         (pipeline/results/percentile.py).
-- reruns  once a period, after its rows: the caller took the digest before out
insert into ledger.percentile_digest (period, digest)
select $period, concat_ws(' ', count(*), bit_xor(hash(row)), sum(hash(row)::hugeint))
from result.percentile as row
where period = $period;
