-- ledger.over_periods_state, ledger.over_periods_stale: figures over all periods rest on everything that is in the store
-- grain   store
-- inputs  $run_id, $as_of
-- keys    one row; no stale period
-- reruns  twice is the same as once
delete from ledger.over_periods_stale;
delete from ledger.over_periods_state;
insert into ledger.over_periods_state (run_id, as_of) values ($run_id, $as_of);
