-- outcome_near (temporary): people with two readings of one visit
-- grain   person
-- inputs  reading.accepted, reading.set_aside, outcome_person; $same_visit_hours
-- keys    person unique
-- rule    Two readings in a row that are not set aside and no more than $same_visit_hours apart. Nobody else has a
--         reading that repeats another, whichever of the readings are looked at.
-- reruns  replaced whole
create or replace temp table outcome_near as
with counted as (
    select
        person, measured_at, lag(measured_at) over (partition by person order by measured_at) as earlier_at
    from reading.accepted as accepted
    join outcome_person on outcome_person.participant = accepted.participant
    anti join reading.set_aside as set_aside on set_aside.reading_id = accepted.reading_id
)
select distinct person
from counted
where date_diff('second', earlier_at, measured_at) <= 3600 * $same_visit_hours;
