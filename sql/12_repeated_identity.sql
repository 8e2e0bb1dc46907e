-- repeated_identity (temporary): who was measured when, of the readings that stand more than once
-- grain   participant × measured_at
-- inputs  checked (this file), broken_line, reading.accepted of the site; $site
-- keys    (participant, measured_at) unique
-- rule    a reading is (site, participant, measured_at); held lines take no part. Nearly always empty: then
--         12_no_repeated_reading.sql spares the file the long statement of 12_repeated_reading.sql
-- reruns  made anew for every file
create or replace temp table repeated_identity as
with stored as (
    select participant, measured_at
    from reading.accepted
    where site = $site
        and measured_at between (select min(measured_at) from checked) and (select max(measured_at) from checked)
),
acceptable as (
    select participant, measured_at from checked
    where len(codes) = 0 and line not in (select line from broken_line)
)
select participant, measured_at from acceptable group by participant, measured_at having count(*) > 1
union
select participant, measured_at from acceptable
semi join stored using (participant, measured_at);
