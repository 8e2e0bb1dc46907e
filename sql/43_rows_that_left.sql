-- ledger.file, ledger.held_row: what a file lost for good before it was read again from its kept copy
-- grain   file; one line of one file
-- inputs  again, broken_before, broken_account_before (temporary, of 42_forgotten_readings.sql)
-- keys    file_id; (file_id, line)
-- rule    the kept copy lacks rows that left and, once somebody withdrew, broken lines: they are added to what it gave
-- reruns  once only, after 42_forgotten_readings.sql and the files
create or replace temp table broken_again as
select broken_before.*
from broken_before
join ledger.file as file on file.file_id = broken_before.file_id
where file.state = 'accepted' and not exists (
    select 1 from ledger.held_row as held_row
    where held_row.file_id = broken_before.file_id and held_row.line = broken_before.line
);
insert into ledger.held_row by name from broken_again;
insert into ledger.unaccepted_row by name
select broken_account_before.*
from broken_account_before
join broken_again
    on broken_again.file_id = broken_account_before.file_id and broken_again.line = broken_account_before.line;

update ledger.file as file
set
    rows_read = file.rows_read + again.rows_withdrawn + again.rows_expired + broken.n,
    rows_held = file.rows_held + broken.n,
    rows_withdrawn = file.rows_withdrawn + again.rows_withdrawn,
    rows_expired = file.rows_expired + again.rows_expired
from again
cross join lateral (select count(*) as n from broken_again where broken_again.file_id = again.file_id) as broken
where again.file_id = file.file_id and file.state = 'accepted';
