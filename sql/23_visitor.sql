-- visitor (temporary): people whose visits are written anew, and a whole number for each
-- grain   participant
-- inputs  reading.accepted, ledger.file_without_visits; $is_whole: everybody; $parts and $part, from 0: of so many parts
--         of them this one
-- keys    participant unique, number unique
-- rule    Pseudonyms are long texts; people are sorted and joined several times faster by number. Which number somebody
--         gets says nothing, and is another one the next time.
-- reruns  replaced whole
create or replace temp table visitor as
select participant, row_number() over ()::integer as number
from (
    select distinct participant
    from reading.accepted
    where ($is_whole or file_id in (select file_id from ledger.file_without_visits))
        and ($parts = 1 or hash(participant) % $parts = $part)
);
