-- repeated_identity (temporary): who was measured where and when, of the readings that stand more than once
-- grain   site × participant × measured_at
-- inputs  entered (file, site: those files of the pass that are filed), checked, broken_line (all of this pass),
--         reading.accepted; $first_site, $last_site: of the pass
-- keys    (site, participant, measured_at) unique
-- rule    a reading is (site, participant, measured_at); held lines take no part. Mostly empty: then
--         12_no_repeated_reading.sql spares the pass the long statement of 12_repeated_reading.sql
-- reruns  made anew for every pass
create or replace temp table repeated_identity as
with acceptable as (
    select entered.site, checked.participant, checked.measured_at
    from checked
    join entered on entered.file = checked.file
    anti join broken_line as broken on broken.file = checked.file and broken.line = checked.line
    where len(checked.codes) = 0
),
stored as (
    select site, participant, measured_at
    from reading.accepted
    where site between $first_site and $last_site
        and measured_at between (select min(measured_at) from acceptable) and (select max(measured_at) from acceptable)
)
select site, participant, measured_at from acceptable group by site, participant, measured_at having count(*) > 1
union
select site, participant, measured_at from acceptable
semi join stored using (site, participant, measured_at);
