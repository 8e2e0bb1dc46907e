-- Figures that rest on people's readings over all periods may wait for their day, from run to run.

-- ledger.over_periods_state: one row once they were worked out: by which run, and as of which day
create table ledger.over_periods_state (run_id bigint not null, as_of date not null);

-- ledger.over_periods_stale: periods whose readings changed since
create table ledger.over_periods_stale (period varchar primary key);

-- ledger.file_without_visits: files whose people's visits (reading.visit) were not written since
create table ledger.file_without_visits (file_id integer primary key);
