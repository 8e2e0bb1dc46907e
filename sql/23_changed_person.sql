-- changed_person (temporary): by how much the people who count in touched periods change, -1 who counted, +1 who counts
-- grain   reading that counted; 23_reading_participant_period.sql adds those that count now
-- inputs  reading.participant_period, reading.accepted, touched_period, touched_reading; $is_whole: periods are counted
--         anew, and none is listed
-- keys    (reading_id, change) unique
-- rule    Rows of touched people, and of readings that are in no file any more. One that counts again stands here twice,
--         and adds nothing to a sum of changes.
-- reruns  replaced whole
create or replace temp table changed_person as
with
changing as (
    select reading_id
    from reading.participant_period
    where reading_id in (select reading_id from touched_reading)
    union all
    select reading_id
    from reading.participant_period
    anti join (select reading_id from reading.accepted where period in (select period from touched_period)) using (reading_id)
    where not $is_whole and period in (select period from touched_period)
)
select -1 as change, *
from reading.participant_period
where period in (select period from touched_period) and reading_id in (select reading_id from changing);
