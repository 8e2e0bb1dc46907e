-- people_of_sites: the measures of each person in a period, of sites that follow each other by name
-- grain   participant, without the participant
-- inputs  person_value; $first_site, $last_site
-- keys    none: only counts are made of it
-- rule    Site and sex are places among their names, from 0. Within a site most people's sex, age and value are nobody
--         else's, so that counting here would make as many rows of them again, at several times the cost.
--         No order: the percentiles sort what they need.
-- reruns  a query: it changes nothing
select
    (people // 512 - 1)::uinteger as site, (people // 256 % 2)::uinteger as sex, (people % 256)::smallint as age,
    * exclude (site, people)
from person_value
where site between $first_site and $last_site;
