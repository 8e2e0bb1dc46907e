-- stop: tally.person_value counts every person once, whatever the number of their periods
with people as (
    select count(distinct participant) as n from reading.participant_period
),
tallied as (
    select coalesce(sum(n), 0) as n from tally.person_value where measure = 'weight'
)
select people.n as people, tallied.n as tallied
from people cross join tallied
where people.n <> tallied.n;
