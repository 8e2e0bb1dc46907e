-- set_aside_before (temporary): what stood in reading.set_aside of the readings that are looked at, and does no more
-- grain   reading × code
-- inputs  reading.set_aside, reading.accepted, touched_reading; $is_whole: everybody's readings, or only those
-- keys    (reading_id, code) unique, neither null
-- rule    Readings that were superseded or withdrawn since go as well, and stand nowhere.
-- reruns  once a run, before 21_reading_set_aside.sql
create or replace temp table set_aside_before as
select set_aside.reading_id, set_aside.code, accepted.period
from reading.set_aside as set_aside
join reading.accepted as accepted on accepted.reading_id = set_aside.reading_id
where $is_whole or set_aside.reading_id in (select reading_id from touched_reading);

delete from reading.set_aside
where reading_id in (
    select reading_id from set_aside_before
    union all
    select reading_id from reading.set_aside anti join reading.accepted using (reading_id)   -- superseded or withdrawn since
);
