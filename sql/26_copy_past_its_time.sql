-- ledger.file: files whose kept copy is past its time
-- grain   file
-- inputs  ledger.file, ledger.run; $files_until: copies of files received up to this day go
-- keys    file_id
-- rule    the day of the run that received it. Pseudonyms of rows that gave no reading are needed for the lines of
--         the copy alone, and go with it; those of held rows stay with the held row.
-- reruns  twice is the same as once
update ledger.unaccepted_row
set participant = null
where outcome in ('duplicate', 'superseded') and file_id in (
    select file.file_id from ledger.file as file join ledger.run as run on run.run_id = file.run_id
    where run.as_of <= $files_until
);

update ledger.file
set kept_sha256 = null
where kept_sha256 is not null and run_id in (select run_id from ledger.run where as_of <= $files_until);
