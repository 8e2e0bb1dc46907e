-- What tells a period's results from others, as long as they stay as they are.

-- ledger.percentile_digest: tells a period's rows of result.percentile from others; nothing of a period whose rows were
-- written since it was last asked for
create table ledger.percentile_digest (period varchar primary key, digest varchar not null);
