-- outcome_person (temporary): a whole number for everybody
-- grain   participant
-- inputs  reading.accepted
-- keys    participant unique, person unique
-- rule    Pseudonyms are long texts; people are sorted, joined and counted several times faster by number. Which
--         number somebody gets says nothing, and is another one the next time.
-- reruns  replaced whole
create or replace temp table outcome_person as
select participant, row_number() over ()::integer as person
from (select distinct participant from reading.accepted);
