-- ledger.file: files that were not known before; their row counts follow in 15_file_rows.sql
-- grain   one file
-- inputs  entering (one row a file of the pass; is_new)
-- keys    file_id; (site, sha256)
-- reruns  a file that is known goes through 17_file_read_again.sql
insert into ledger.file (
    file_id, run_id, site, name, sha256, bytes, received_at, state, format, encoding, profile_sha256,
    reason_code, reason, kept_sha256, sheet
)
select
    file_id, run_id, site, name, sha256, bytes, received_at, state, format, encoding, profile_sha256,
    reason_code, reason, kept_sha256, sheet
from entering
where is_new
order by file_id;
