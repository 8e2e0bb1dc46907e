-- what is known of places in sources: bytes that need not be fetched again while all that decides on them is the same
-- grain   one place in a source
-- inputs  ledger.fetched, ledger.file, ledger.held_row
-- keys    (url, path) unique
-- rule    held_name: of a file that was held or refused, its name as the ledger tells it; null: it was accepted. Not
--         known is a file of which rows have left since, or whose held rows are not there (a rebuilt store reads them
--         from the file), and one with a row that lies in the future, which some day is past.
-- reruns  a query: it changes nothing
select
    fetched.url, fetched.path, fetched.fingerprint, fetched.sha256,
    case when file.state <> 'accepted' then file.name end as held_name
from ledger.fetched as fetched
join ledger.file as file on file.site = fetched.site and file.sha256 = fetched.sha256
where file.state = 'accepted'
    or (
        file.rows_held = file.rows_read
        and (file.rows_read > 0 or file.reason_code is distinct from 'every_row_held')
        and file.file_id not in (
            select file_id from ledger.held_row where list_contains(codes, 'measured_in_future')
        )
    );
