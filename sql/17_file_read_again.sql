-- ledger.file: files that were held or refused before and are read again, say because a profile was mended
-- grain   one file
-- inputs  entering (one row a file of the pass; is_new)
-- keys    file_id
-- rule    what was counted of it is taken back with its held rows; it never had an accepted reading
-- reruns  the same again
delete from ledger.held_row where file_id in (select file_id from entering where not is_new);
delete from ledger.unaccepted_row where file_id in (select file_id from entering where not is_new);

update ledger.file
set
    run_id = entering.run_id, name = entering.name, bytes = entering.bytes, received_at = entering.received_at,
    state = entering.state, format = entering.format, encoding = entering.encoding,
    profile_sha256 = entering.profile_sha256, reason_code = entering.reason_code, reason = entering.reason,
    kept_sha256 = entering.kept_sha256, sheet = entering.sheet,
    rows_read = 0, rows_accepted = 0, rows_held = 0, rows_duplicate = 0, rows_superseded = 0,
    rows_withdrawn = 0, rows_expired = 0, is_built = false
from entering
where file.file_id = entering.file_id and not entering.is_new;
