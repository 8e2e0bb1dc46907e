-- ledger.file: a file that was held or refused before and is read again, say because its profile was mended
-- grain   one file, $file_id
-- inputs  parameters only
-- keys    file_id
-- rule    what was counted of it is taken back with its held rows; it never had an accepted reading
-- reruns  the same again
delete from ledger.held_row where file_id = $file_id;
delete from ledger.unaccepted_row where file_id = $file_id;

update ledger.file
set
    run_id = $run_id, name = $name, bytes = $bytes, received_at = $received_at, state = $state, format = $format,
    encoding = $encoding, profile_sha256 = $profile_sha256, reason_code = $reason_code, reason = $reason,
    kept_sha256 = $kept_sha256,
    rows_read = 0, rows_accepted = 0, rows_held = 0, rows_duplicate = 0, rows_superseded = 0,
    rows_withdrawn = 0, rows_expired = 0, is_built = false
where file_id = $file_id;
