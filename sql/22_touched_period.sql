-- touched_period (temporary): periods whose chosen readings or tallies may differ from what is stored
-- grain   period
-- inputs  reading.accepted, ledger.file, reading.set_aside, set_aside_before, touched_reading,
--         reading.participant_period; $is_whole
-- keys    period unique, not null
-- rule    a period with a row of a file that is not built; or with a reading newly set aside, or no longer;
--         or one that no reading stands in any more. is_whole: it is counted anew, and not by what changes in it.
-- reruns  replaced whole; empty when every file is built
create or replace temp table touched_period as
with touched as (
    select distinct accepted.period
    from reading.accepted as accepted
    join ledger.file as file on file.file_id = accepted.file_id
    where not file.is_built
    union
    select accepted.period
    from (
        (select reading_id, code from set_aside_before except select reading_id, code from reading.set_aside)
        union
        (
            select set_aside.reading_id, set_aside.code
            from reading.set_aside as set_aside
            join reading.accepted as accepted on accepted.reading_id = set_aside.reading_id
            where $is_whole or set_aside.reading_id in (select reading_id from touched_reading)
            except
            select reading_id, code from set_aside_before
        )
    ) as changed
    join reading.accepted as accepted on accepted.reading_id = changed.reading_id
    union
    (select distinct period from reading.participant_period except select distinct period from reading.accepted)
)
select period, $is_whole as is_whole from touched;
