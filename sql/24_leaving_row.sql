-- leaving_row (temporary): rows of the store that must not be kept any longer, and how each counts so far
-- grain   one line of one file
-- inputs  reading.accepted, ledger.unaccepted_row, ledger.file, ledger.run; tombstone (tombstone: those of everybody
--         who withdrew); $inner_pad, $outer_pad of the store's key; $first_period: the first that is kept, null for
--         all; $held_until: held rows of files received up to this day are past their time, null for none
-- keys    (file_id, line) unique
-- rule    withdrawn: every row of somebody who withdrew. expired: readings of periods before the first that is kept,
--         and held rows, of which the period cannot be relied on, by the day their file was received.
-- reruns  replaced whole; empty when nothing has to leave
create or replace temp table leaving_person as
with person as (
    select distinct participant
    from (
        select participant from reading.accepted
        union all
        select participant from ledger.unaccepted_row where participant is not null
    )
    where (select count(*) from tombstone) > 0
)
select participant
from person
where tombstone_of($inner_pad, $outer_pad, participant) in (select tombstone from tombstone);

create or replace temp table leaving_row as
with row_of_file as (
    select file_id, line, participant, period, 'accepted' as outcome from reading.accepted
    union all
    select file_id, line, participant, null as period, outcome from ledger.unaccepted_row
),
judged as (
    select
        row_of_file.file_id, row_of_file.line, row_of_file.period, row_of_file.outcome,
        leaving_person.participant is not null as is_withdrawn,
        coalesce(row_of_file.period < $first_period, false)
            or (row_of_file.outcome = 'held' and coalesce(run.as_of <= $held_until, false)) as is_expired
    from row_of_file
    left join leaving_person on leaving_person.participant = row_of_file.participant
    join ledger.file as file on file.file_id = row_of_file.file_id
    left join ledger.run as run on run.run_id = file.run_id
)
select file_id, line, period, outcome, case when is_withdrawn then 'withdrawn' else 'expired' end as cause
from judged
where is_withdrawn or is_expired;
