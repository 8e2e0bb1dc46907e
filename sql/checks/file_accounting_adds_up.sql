-- stop: rows read = accepted + held + duplicate + superseded + withdrawn + expired, by file, and the rows are there
with accepted as (
    select file_id, count(*) as n from reading.accepted group by file_id
),
held as (
    select file_id, count(*) as n from ledger.held_row group by file_id
),
unaccepted as (
    select
        file_id,
        count_if(outcome = 'held') as held, count_if(outcome = 'duplicate') as duplicate,
        count_if(outcome = 'superseded') as superseded
    from ledger.unaccepted_row
    group by file_id
)
select
    file.file_id, file.site, file.rows_read, file.rows_accepted, file.rows_held, file.rows_duplicate,
    file.rows_superseded, file.rows_withdrawn, file.rows_expired,
    coalesce(accepted.n, 0) as in_accepted, coalesce(held.n, 0) as in_held_row
from ledger.file as file
left join accepted on accepted.file_id = file.file_id
left join held on held.file_id = file.file_id
left join unaccepted on unaccepted.file_id = file.file_id
where file.rows_read <> file.rows_accepted + file.rows_held + file.rows_duplicate + file.rows_superseded
        + file.rows_withdrawn + file.rows_expired
    or file.rows_accepted <> coalesce(accepted.n, 0)
    or file.rows_held <> coalesce(held.n, 0)
    or (file.has_row_account and (
        file.rows_held <> coalesce(unaccepted.held, 0)
        or file.rows_duplicate <> coalesce(unaccepted.duplicate, 0)
        or file.rows_superseded <> coalesce(unaccepted.superseded, 0)))
order by file.file_id;
