-- reading.accepted: earlier readings that this pass's readings supersede out
-- grain   reading
-- inputs  repeated_reading (of this pass)
-- keys    reading_id
-- rule    A superseded reading leaves with all that was set aside of it; its file counts one accepted less, one
--         superseded more, and ledger.unaccepted_row says so of its line.
-- reruns  twice would count twice: a file is filed once
update ledger.file
set
    rows_accepted = rows_accepted - superseded.n,
    rows_superseded = rows_superseded + superseded.n
from (
    select file_id, count(*) as n from repeated_reading
    where outcome = 'superseded' and reading_id is not null group by file_id
) as superseded
where file.file_id = superseded.file_id;

insert into ledger.unaccepted_row (file_id, line, participant, outcome)
select file_id, line, participant, 'superseded'
from reading.accepted
where reading_id in (select reading_id from repeated_reading where outcome = 'superseded' and reading_id is not null);

delete from reading.set_aside
where reading_id in (select reading_id from repeated_reading where outcome = 'superseded' and reading_id is not null);

delete from reading.accepted
where reading_id in (select reading_id from repeated_reading where outcome = 'superseded' and reading_id is not null);
