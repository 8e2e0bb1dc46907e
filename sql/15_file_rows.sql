-- ledger.file: this file's rows, counted by what became of them
-- grain   one file, $file_id
-- inputs  received, checked, broken_line, repeated_reading, leaving_line (all of this file)
-- keys    file_id
-- rule    rows_read = rows_accepted + rows_held + rows_duplicate + rows_superseded + rows_withdrawn + rows_expired,
--         each counted for itself
-- reruns  the same counts again
with counted as (
    select
        count(*) as n_read,
        count(*) filter (where is_held) as n_held,
        count(*) filter (where not is_held and outcome = 'duplicate') as n_duplicate,
        count(*) filter (where not is_held and outcome = 'superseded') as n_superseded,
        count(*) filter (where not is_held and coalesce(outcome, 'accepted') = 'accepted') as n_accepted
    from (
        select
            received.line,
            len(checked.codes) > 0 or broken_line.line is not null as is_held,
            repeated_reading.outcome
        from received
        left join checked on checked.line = received.line
        left join broken_line on broken_line.line = received.line
        left join repeated_reading on repeated_reading.line = received.line and repeated_reading.reading_id is null
    )
),
leaving as (
    select
        count(*) as n,
        count(*) filter (where outcome = 'withdrawn') as n_withdrawn,
        count(*) filter (where outcome = 'expired') as n_expired
    from leaving_line
)
update ledger.file
set
    rows_read = n_read + leaving.n, rows_accepted = n_accepted, rows_held = n_held, rows_duplicate = n_duplicate,
    rows_superseded = n_superseded, rows_withdrawn = n_withdrawn, rows_expired = n_expired, has_row_account = true
from counted cross join leaving
where file.file_id = $file_id;
