-- reading.accepted.period, anew: the settings' period changed from quarters to months, or back
-- grain   reading
-- inputs  reading.accepted, ledger.file; $period_kind quarter or month
-- keys    reading_id
-- rule    period_of, as in 10_normalised.sql. Every file counts as not built, so that everything below follows.
-- reruns  twice is the same as once
update reading.accepted set period = period_of(measured_at, $period_kind);
update ledger.file set is_built = false;
