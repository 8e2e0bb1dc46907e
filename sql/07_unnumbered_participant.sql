-- unnumbered participant: does anything in the participant's column of one file not end in a digit?
-- grain   one row: true or false
-- inputs  received; the variable `place`: of the file that is being read
-- keys    none
-- rule    where nothing does, there is no name among them, and 07_worded_participant.sql need not look
-- reruns  a query: it changes nothing
select count(*) > 0
from received
where file = getvariable('place') and not ascii(right(participant, 1)) between ascii('0') and ascii('9');
