-- outcome_site (temporary): the sites, and how long each was watched
-- grain   site
-- inputs  site_start, reading.accepted
-- keys    site unique, site_number unique
-- rule    last_day: on which the site sent its last reading, whether that counts or not; null for one that sent none
-- reruns  replaced whole
create or replace temp table outcome_site as
select site_start.site_number, site_start.site, site_start.kind, last_of_site.last_day
from site_start
left join (
    select site, max(measured_on) as last_day from reading.accepted group by site
) as last_of_site on last_of_site.site = site_start.site;
