-- repeated_reading (temporary): of a pass in which no reading stands more than once
-- grain   one acceptable line of a file, or one reading of the store, whose identity stands more than once
-- inputs  none
-- keys    as in 12_repeated_reading.sql
-- rule    empty; 12_repeated_reading.sql makes the other kind
-- reruns  made anew for every pass
create or replace temp table repeated_reading (
    file integer, line bigint, reading_id bigint, file_id integer, outcome varchar, replaced_by integer
);
