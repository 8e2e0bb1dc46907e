-- account_before (temporary): what data quality counts of files that were not accepted, before any file is read
-- grain   file that was held or refused
-- inputs  ledger.file, ledger.held_row
-- keys    file_id unique
-- rule    Such a file is read again in every run, and mostly to the same end: 36_stale_period.sql compares. Empty where
--         a file is not built: a run was cut off after it had read files, and what it found before nobody knows.
-- reruns  replaced whole
create or replace temp table account_before as
from account_of_the_rest()
where not exists (from ledger.file where not is_built);
