-- chosen_reading (temporary): the readings that count in touched periods
-- grain   reading
-- inputs  reading.accepted, reading.set_aside, touched_period, touched_reading; $is_whole: of everybody, or of the people
--         whom new files touched; $first_period, $last_period: of some of the periods, null for all
-- keys    reading_id unique
-- rule    Last eligible reading; two at the same moment (at two sites) go by site, then by the higher reading_id,
--         so a rebuild gives the same rows. Someone seen at two sites counts once, at the site of the chosen reading.
--         Only a person's own readings decide which of them counts.
-- reruns  replaced whole
create or replace temp table chosen_reading as
with looked_at as (
    select reading_id, participant, period, measured_at, site from reading.accepted where $is_whole
    union all
    select reading_id, participant, period, measured_at, site from touched_reading where not $is_whole
)
select reading_id
from looked_at
where period in (select period from touched_period) and ($first_period is null or period between $first_period and $last_period)
    and reading_id not in (select reading_id from reading.set_aside)
qualify row_number() over (
    partition by participant, period order by measured_at desc, site, reading_id desc
) = 1;
