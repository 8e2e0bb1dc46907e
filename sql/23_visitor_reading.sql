-- visitor_reading (temporary): the readings of people whose visits are written anew, in few columns
-- grain   reading
-- inputs  reading.accepted, reading.set_aside, visitor, site_start; $same_visit_hours; $parts and $part, as in visitor
-- keys    reading_id unique
-- rule    is_counted: not set aside, and from the day on which the programme began at the site (null: from its first
--         reading). is_repeated: no more than $same_visit_hours after the counted reading before it.
-- reruns  replaced whole
create or replace temp table visitor_reading as
with read as (
    select
        visitor.number, accepted.reading_id, accepted.measured_at,
        set_aside.reading_id is not null as is_set_aside,
        set_aside.reading_id is null
            and (site_start.started is null or accepted.measured_on >= site_start.started) as is_counted
    from reading.accepted as accepted
    join visitor on visitor.participant = accepted.participant
    join site_start on site_start.site = accepted.site
    left join (select distinct reading_id from reading.set_aside) as set_aside
        on set_aside.reading_id = accepted.reading_id
    where is_in_part(accepted.participant, $parts, $part)  -- before the joins: those of the others are most
)
select
    number, reading_id, measured_at, is_set_aside, is_counted,
    is_counted and coalesce(date_diff('second',
        lag(measured_at) over (partition by number, is_counted order by measured_at, reading_id), measured_at
    ) <= 3600 * $same_visit_hours, false) as is_repeated
from read;
