-- repeated_reading (temporary): of a file in which no reading stands more than once
-- grain   one acceptable line of this file, or one reading of the store, whose identity stands more than once
-- inputs  none
-- keys    (participant, measured_at, line) unique
-- rule    empty; 12_repeated_reading.sql makes the other kind
-- reruns  made anew for every file
create or replace temp table repeated_reading (
    line bigint, reading_id bigint, file_id integer, participant varchar, measured_at timestamp, outcome varchar
);
