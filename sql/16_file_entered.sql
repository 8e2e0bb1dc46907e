-- ledger.file: a file that was not known before; its row counts follow in 15_file_rows.sql
-- grain   one file
-- inputs  parameters only
-- keys    file_id; (site, sha256)
-- reruns  a file that is known goes through 17_file_read_again.sql
insert into ledger.file (
    file_id, run_id, site, name, sha256, bytes, received_at, state, format, encoding, profile_sha256,
    reason_code, reason, kept_sha256
)
values (
    $file_id, $run_id, $site, $name, $sha256, $bytes, $received_at, $state, $format, $encoding, $profile_sha256,
    $reason_code, $reason, $kept_sha256
);
