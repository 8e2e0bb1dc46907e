-- What result.* was last written from, so that a run writes anew only what its files changed.

-- ledger.result_state: one row once results were written. basis: digest of program, libraries, settings and profiles;
-- is_current: no file came in and no row left since
create table ledger.result_state (basis varchar not null, is_current boolean not null);

-- ledger.stale_period: periods whose tallies changed since results were written
create table ledger.stale_period (period varchar primary key);
