-- ledger.result_state, ledger.stale_period: result.* was written from everything that is in the store
-- grain   store
-- inputs  $basis
-- keys    one row; no stale period
-- reruns  twice is the same as once
delete from ledger.stale_period;
delete from ledger.result_state;
insert into ledger.result_state (basis, is_current) values ($basis, true);
