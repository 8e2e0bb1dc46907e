-- rows that must not be kept leave every table that stands on files; their files' accounts say where they went
-- grain   one line of one file
-- inputs  leaving_row; kept_copy (file_id, kept_sha256): the copies that lack those lines
-- keys    (file_id, line)
-- rule    rows_read stays, so each row moves within its file's account: from accepted, held, duplicate or superseded
--         to withdrawn or expired. Every period that loses a reading is built anew: all files with a reading in one
--         count as not built, and so do those of people who lose one: what was thought of their other readings may
--         have rested on it. The chosen readings and everything above them follow in build_readings; people's visits
--         go at once, and those of who stays come again in build_visits. The results of such a period are stale from
--         here on: where none of its readings counted and none is left, nothing else would name it.
-- reruns  twice is the same as once: the second time no row leaves
update ledger.file
set is_built = false
where file_id in (
    select distinct accepted.file_id
    from reading.accepted as accepted
    where accepted.period in (select period from leaving_row where outcome = 'accepted')
        or accepted.participant in (
            select leaving.participant
            from reading.accepted as leaving
            join leaving_row on leaving_row.file_id = leaving.file_id and leaving_row.line = leaving.line
            where leaving_row.outcome = 'accepted'
        )
);

update ledger.file
set
    rows_accepted = rows_accepted - moved.accepted,
    rows_held = rows_held - moved.held,
    rows_duplicate = rows_duplicate - moved.duplicate,
    rows_superseded = rows_superseded - moved.superseded,
    rows_withdrawn = rows_withdrawn + moved.withdrawn,
    rows_expired = rows_expired + moved.expired
from (
    select
        file_id,
        count_if(outcome = 'accepted') as accepted, count_if(outcome = 'held') as held,
        count_if(outcome = 'duplicate') as duplicate, count_if(outcome = 'superseded') as superseded,
        count_if(cause = 'withdrawn') as withdrawn, count_if(cause = 'expired') as expired
    from leaving_row
    group by file_id
) as moved
where file.file_id = moved.file_id;

update ledger.result_state
set is_current = false
where exists (from leaving_row);

insert into ledger.stale_period
select distinct period
from leaving_row
where outcome = 'accepted' and period not in (select period from ledger.stale_period);

insert into ledger.over_periods_stale
select distinct period
from leaving_row
where outcome = 'accepted' and period not in (select period from ledger.over_periods_stale);

-- what waits for its day would tell of who is gone
delete from ledger.over_periods_state
where exists (from leaving_row);

update ledger.file
set kept_sha256 = kept_copy.kept_sha256
from kept_copy
where file.file_id = kept_copy.file_id;

delete from ledger.held_row
where (file_id, line) in (select (file_id, line) from leaving_row where outcome = 'held');

delete from ledger.unaccepted_row
where (file_id, line) in (select (file_id, line) from leaving_row where outcome <> 'accepted');

-- visits stand on a person's readings together, under the number of one of them: all the person's go
create or replace temp table losing_reading as
select reading_id
from reading.accepted
where participant in (
    select leaving.participant
    from reading.accepted as leaving
    join leaving_row on leaving_row.file_id = leaving.file_id and leaving_row.line = leaving.line
    where leaving_row.outcome = 'accepted'
);
delete from reading.visit where person in (select reading_id from losing_reading);
delete from reading.repeat where reading_id in (select reading_id from losing_reading);
drop table losing_reading;

delete from reading.set_aside
where reading_id in (
    select file_id::bigint * 1000000000 + line from leaving_row where outcome = 'accepted'
);

delete from reading.accepted
where reading_id in (
    select file_id::bigint * 1000000000 + line from leaving_row where outcome = 'accepted'
);
