-- status of every run, newest first, with what it received
-- grain   run
-- inputs  ledger.run, ledger.file
-- keys    run_id
select
    run.run_id, run.as_of, run.started_at, run.finished_at, run.version, run.settings_sha256, run.outcome,
    run.fault,
    date_diff('second', run.started_at, run.finished_at) as seconds,
    coalesce(received.files, 0) as files,
    coalesce(received.files_held, 0) as files_held,
    coalesce(received.rows_read, 0) as rows_read,
    coalesce(received.rows_accepted, 0) as rows_accepted,
    coalesce(received.rows_held, 0) as rows_held
from ledger.run as run
left join (
    select
        run_id, count(*) as files, count(*) filter (where state <> 'accepted') as files_held,
        sum(rows_read)::bigint as rows_read, sum(rows_accepted)::bigint as rows_accepted,
        sum(rows_held)::bigint as rows_held
    from ledger.file group by run_id
) as received on received.run_id = run.run_id
order by run.run_id desc
