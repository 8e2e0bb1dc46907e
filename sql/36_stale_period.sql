-- ledger.stale_period, ledger.result_state: what result.* does not know of yet
-- grain   period
-- inputs  touched_period, ledger.file
-- keys    period unique
-- rule    A run that is killed between tallies and results leaves its periods here, and the next one writes them. Any
--         file that is not built makes the results that are written whole stale: they count its rows or its readings.
-- reruns  twice is the same as once
insert into ledger.stale_period
select period from touched_period
where period not in (select period from ledger.stale_period);

update ledger.result_state
set is_current = false
where exists (from ledger.file where not is_built) or exists (from ledger.stale_period);
