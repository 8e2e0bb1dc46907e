-- span_of_site (temporary): when the acceptable readings of a pass were measured, and whether one stands in it twice
-- grain   site with such readings
-- inputs  checked, broken_line, file_of_pass (all of this pass)
-- keys    site unique
-- rule    a reading is (site, participant, measured_at), as in 12_repeated_identity.sql, which looks at every one: a pass is
--         spared that where none stands twice in it and the store has none of these times (12_may_be_repeated.sql).
--         Files of the pass that will not be filed count along, so that nothing is missed
-- reruns  made anew for every pass
create or replace temp table span_of_site as
with reading as (
    select file_of_pass.site, checked.measured_at, count(*) as n
    from checked
    join file_of_pass on file_of_pass.file = checked.file
    anti join broken_line as broken on broken.file = checked.file and broken.line = checked.line
    where len(checked.codes) = 0
    group by file_of_pass.site, checked.participant, checked.measured_at
)
select site, min(measured_at) as first_at, max(measured_at) as last_at, max(n) > 1 as is_repeated
from reading
group by site;
