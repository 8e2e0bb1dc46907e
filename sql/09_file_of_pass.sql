-- file_of_pass (temporary): the files of a pass that have rows
-- grain   one file
-- inputs  listed (the columns below)
-- keys    file unique: its place in the pass, 1 is the first
-- rule    way: files of one way are written the same way, so that one statement with the same parameters reads them.
--         scope: the site where its participants' numbers are its own, else ''. as_of: the day of the file's run.
--         first_period: the first whose readings are kept, null for all. The print steps are the coarsest of their kind,
--         in canonical units, null where the file has no such field
-- reruns  made anew for every pass
create or replace temp table file_of_pass as
select
    file, way, site, scope, as_of, first_period, height_step_cm, weight_step_kg, mass_step_kg, percent_step
from listed;
