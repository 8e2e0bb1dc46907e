-- every row that files can give again, out of a copy of the store that is to be rebuilt from them
-- grain   store
-- inputs  ledger.file
-- keys    none
-- rule    The ledger keeps its runs, removals and releases, and each file its number and what left it for good
--         (rows_withdrawn, rows_expired). Files that were held or refused keep their rows: a run reads them again from
--         the inbox. A file of which every row left for good has nothing to give. No result is current any more.
-- reruns  twice is the same as once
create or replace temp table again as
select
    file.file_id, file.run_id, file.site, file.name, file.sha256, file.kept_sha256, file.bytes, file.received_at,
    file.rows_withdrawn, file.rows_expired, run.as_of
from ledger.file as file
join ledger.run as run on run.run_id = file.run_id
where file.state = 'accepted' and file.rows_read > file.rows_withdrawn + file.rows_expired;

-- broken lines, of which nothing but the line is told, that a kept copy has lost since somebody withdrew
create or replace temp table broken_before as
select held_row.*
from ledger.held_row as held_row join again on again.file_id = held_row.file_id
where again.kept_sha256 <> again.sha256 and list_has_any(held_row.codes, ['row_cut_off', 'too_many_fields']);
create or replace temp table broken_account_before as
select unaccepted_row.*
from ledger.unaccepted_row as unaccepted_row
join broken_before on broken_before.file_id = unaccepted_row.file_id and broken_before.line = unaccepted_row.line;

delete from ledger.held_row where file_id in (select file_id from again);
delete from ledger.unaccepted_row where file_id in (select file_id from again);
update ledger.file
set state = 'held', rows_read = 0, rows_accepted = 0, rows_held = 0, rows_duplicate = 0, rows_superseded = 0,
    rows_withdrawn = 0, rows_expired = 0
where file_id in (select file_id from again);
delete from ledger.result_state;
delete from ledger.stale_period;
delete from ledger.over_periods_state;
delete from ledger.over_periods_stale;
delete from ledger.file_without_visits;
delete from ledger.count_state;
