-- touched_reading (temporary): every reading of the people with a reading in a file that is not built yet
-- grain   reading
-- inputs  reading.accepted, ledger.file; $is_whole: everybody's are, and none is listed
-- keys    reading_id unique, not null
-- rule    A new reading of a person can change what is thought of the person's other readings, in any period. Pseudonyms
--         are long texts: everybody's are compared here, and from here on only these people's.
-- reruns  replaced whole; empty when every file is built
create or replace temp table touched_reading as
select reading_id, participant, period, site, measured_at, sex, age, height_cm, weight_kg
from reading.accepted
where participant in (
    select accepted.participant
    from reading.accepted as accepted
    join ledger.file as file on file.file_id = accepted.file_id
    where not $is_whole and not file.is_built
);
