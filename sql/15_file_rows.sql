-- ledger.file: the rows of this pass's files, counted by what became of them
-- grain   one file
-- inputs  entered (file, file_id: those files that are filed), rows_of_file, checked, broken_line,
--         repeated_reading, leaving_line (all of this pass)
-- keys    file_id
-- rule    rows_read = rows_accepted + rows_held + rows_duplicate + rows_superseded + rows_withdrawn + rows_expired,
--         each counted for itself
-- reruns  the same counts again
with counted as (
    select
        file,
        count(*) filter (where is_held) as n_held,
        count(*) filter (where not is_held and outcome = 'duplicate') as n_duplicate,
        count(*) filter (where not is_held and outcome = 'superseded') as n_superseded,
        count(*) filter (where not is_held and coalesce(outcome, 'accepted') = 'accepted') as n_accepted
    from (
        select
            checked.file,
            checked.line,
            len(checked.codes) > 0 or broken.line is not null as is_held,
            repeated_reading.outcome
        from checked
        left join broken_line as broken on broken.file = checked.file and broken.line = checked.line
        left join repeated_reading on repeated_reading.file = checked.file and repeated_reading.line = checked.line
    )
    group by file
),
leaving as (
    select
        file,
        count(*) filter (where outcome = 'withdrawn') as n_withdrawn,
        count(*) filter (where outcome = 'expired') as n_expired
    from leaving_line
    group by file
),
account as (
    select
        entered.file_id,
        coalesce(rows_of_file.n, 0) as n_read,
        coalesce(n_accepted, 0) as n_accepted,
        coalesce(n_held, 0) as n_held,
        coalesce(n_duplicate, 0) as n_duplicate,
        coalesce(n_superseded, 0) as n_superseded,
        coalesce(n_withdrawn, 0) as n_withdrawn,
        coalesce(n_expired, 0) as n_expired
    from entered
    left join rows_of_file on rows_of_file.file = entered.file
    left join counted on counted.file = entered.file
    left join leaving on leaving.file = entered.file
)
update ledger.file
set
    rows_read = n_read, rows_accepted = n_accepted, rows_held = n_held, rows_duplicate = n_duplicate,
    rows_superseded = n_superseded, rows_withdrawn = n_withdrawn, rows_expired = n_expired, has_row_account = true
from account
where file.file_id = account.file_id;
