-- file_here, site_with_news (temporary): the files of each site, and the sites with readings that tally.last_digit lacks
-- grain   file; site
-- inputs  reading.accepted, tally.file_in_last_digit, tally.last_digit
-- keys    file_id unique; site unique
-- rule    Readings of new files are added to what is counted. A site of which a counted reading left, or an older file came
--         late, loses what it has and is counted anew: another height may be somebody's first. n: the new readings.
-- reruns  replaced whole
create or replace temp table file_here as
select file_id, any_value(site) as site, count(*) as n from reading.accepted group by file_id;

create or replace temp table site_anew as
select site
from (
    select coalesce(file_here.site, counted.site) as site, file_id, counted.n as counted, file_here.n as here
    from file_here full join tally.file_in_last_digit as counted using (file_id)
)
group by site
having bool_or(counted <> coalesce(here, 0))
    or min(file_id) filter (where counted is null) < max(file_id) filter (where counted is not null);

delete from tally.last_digit where site in (select site from site_anew);
delete from tally.file_in_last_digit where site in (select site from site_anew);
drop table site_anew;

create or replace temp table site_with_news as
select site, sum(n)::bigint as n from file_here anti join tally.file_in_last_digit using (file_id) group by site;
