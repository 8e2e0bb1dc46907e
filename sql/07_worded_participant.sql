-- worded participant: what stands in the participant's column of one file and could be a person's name
-- grain   different participant's text, trimmed, of letters and what stands between the letters of names
-- inputs  received
-- keys    participant unique; different_participants, the same in every row, counts those of any kind
-- rule    the first 5,000 in their order: so many are enough to tell, and bound what Python looks at
-- reruns  a query: it changes nothing
with different as (
    select distinct trimmed(participant) as participant from received where is_present(participant, [''])
),

counted as (
    select participant, count(*) over () as different_participants from different
)

select participant, different_participants
from counted
where regexp_full_match(participant, '\pL[\pL\pM .,''’-]{2,79}')
order by participant
limit 5000;
