-- worded participant: what stands in the participant's column of one file and could be a person's name
-- grain   different participant's text, trimmed, of letters and what stands between the letters of names
-- inputs  received; the variable `place`: of the file that is being read
-- keys    participant unique
-- rule    the first 5,000 in their order: so many are enough to tell, and bound what Python looks at. A text that ends
--         in a digit, as nearly all numbers do, is passed over before the dearer pattern. Its length is asked apart:
--         as a count within the pattern it took longer to compile than a small file takes to read. The pattern alone
--         takes some 3 ms: 07_unnumbered_participant.sql asks before whether there is anything for it to do
-- reruns  a query: it changes nothing
select distinct trimmed(participant) as participant
from received
where
    file = getvariable('place')
    and not ascii(right(participant, 1)) between ascii('0') and ascii('9')
    and length(trimmed(participant)) between 3 and 80
    and regexp_full_match(trimmed(participant), '\pL[\pL\pM .,''’-]+')
order by participant
limit 5000;
