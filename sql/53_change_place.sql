-- change_place (temporary): the analysers of the sites, numbered
-- grain   site × device
-- inputs  reading.accepted
-- keys    (site, device) unique; place unique
-- rule    In order of site, then device; device is '' where the files do not name it. Counting and sorting people's
--         changes by a number is several times faster than by words.
-- reruns  replaced whole
create or replace temp table change_place as
select site, device, (row_number() over (order by site, device) - 1)::integer as place
from (select distinct site, coalesce(device, '') as device from reading.accepted);
