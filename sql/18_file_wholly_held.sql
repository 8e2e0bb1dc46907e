-- ledger.file: a file of which no row could be taken is held whole
-- grain   one file, $file_id
-- inputs  its row counts (15_file_rows.sql); $reason: the message, which names the file
-- keys    file_id
-- rule    so many wrong lines are more likely one wrong profile; a held file is read again in the next run, with
--         the profile as it is then. Rows that must not be kept say nothing of it. Its rows stay counted as held,
--         with their reasons, until it is.
-- reruns  the same again
update ledger.file
set state = 'held', reason_code = 'every_row_held', reason = $reason, kept_sha256 = null
where file_id = $file_id and rows_held > 0 and rows_held = rows_read - rows_withdrawn - rows_expired;
