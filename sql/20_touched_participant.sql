-- touched_participant (temporary): people with a reading in a file that is not built yet
-- grain   participant
-- inputs  reading.accepted, ledger.file
-- keys    participant unique, not null
-- rule    A new reading of a person can change what is thought of the person's other readings, in any period.
-- reruns  replaced whole; empty when every file is built
create or replace temp table touched_participant as
select distinct accepted.participant
from reading.accepted as accepted
join ledger.file as file on file.file_id = accepted.file_id
where not file.is_built;
