-- Temporary macro: people in parts, one after the other (pipeline/in_parts.py)

-- is_in_part(participant, parts, part): whether a person is in this one of so many parts, from 0
-- rule    By the hash of the pseudonym. Both numbers as unsigned: signed ones make it a division of 128 bits, which takes
--         eight times as long as reading the pseudonyms.
create or replace temp macro is_in_part(participant, parts, part) as
    parts = 1 or hash(participant) % parts::ubigint = part::ubigint;
