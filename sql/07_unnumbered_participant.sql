-- unnumbered participant: in which files of the pass does anything in the participant's column not end in a digit?
-- grain   one file
-- inputs  received
-- keys    file unique
-- rule    where nothing does, there is no name among them, and 07_worded_participant.sql need not look
-- reruns  a query: it changes nothing
select distinct file
from received
where not ascii(right(participant, 1)) between ascii('0') and ascii('9');
