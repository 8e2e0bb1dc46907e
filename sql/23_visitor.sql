-- visitor (temporary): people whose visits are written anew, and a whole number for each
-- grain   participant
-- inputs  reading.accepted, ledger.file_without_visits; $parts and $part, from 0: of so many parts of the people this one
-- keys    participant unique, number unique
-- rule    Pseudonyms are long texts; people are sorted and joined several times faster by number. Which number somebody
--         gets says nothing, and is another one the next time.
-- reruns  replaced whole
create or replace temp table visitor as
select participant, row_number() over ()::integer as number
from (
    select distinct participant
    from reading.accepted
    where file_id in (select file_id from ledger.file_without_visits)
        and is_in_part(participant, $parts, $part)
);
