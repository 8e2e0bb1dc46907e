-- touched people: how many of those whom new files touch, or who lose readings, have a reading that counts
-- grain   one row: their number, and whether somebody loses readings whom no new file touches; of them it is not known
--         here whether others of theirs count
-- inputs  touched_reading, changed_person, reading.participant_period; $is_before: the chosen readings are as they were
-- keys    none
-- rule    by the readings' numbers: comparing everybody's pseudonyms costs five times as much
-- reruns  a query: it changes nothing
with person as (
    select participant
    from touched_reading
    where reading_id in (select reading_id from reading.participant_period)
    union
    select participant
    from changed_person
    where $is_before and change = -1
)
select
    (select count(*) from person) as n,
    exists (
        from changed_person where change = -1 and participant not in (select participant from touched_reading)
    ) as is_unsure;
