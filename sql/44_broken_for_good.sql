-- broken_for_good (temporary): broken lines that no kept copy holds any more, since somebody withdrew
-- grain   one line of one file
-- inputs  ledger.file, ledger.held_row
-- keys    (file_id, line) unique
-- rule    as in 42_forgotten_readings.sql: nothing but the line is told of them, so they can be kept in a list
-- reruns  replaced whole
create or replace temp table broken_for_good as
select held_row.file_id, held_row.line
from ledger.held_row as held_row
join ledger.file as file on file.file_id = held_row.file_id
where file.state = 'accepted' and file.kept_sha256 <> file.sha256
    and list_has_any(held_row.codes, ['row_cut_off', 'too_many_fields']);
