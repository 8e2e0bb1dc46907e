-- site_value_tally: how many people have each value of each measure, of sites that follow each other by name
-- grain   site × sex × age × measure × value
-- inputs  person_value, person_site; $first_site, $last_site; $measures, their names
-- keys    (site, sex, age, measure, value) unique, none null
-- rule    n counts people; a measure that was not taken counts nowhere. tally.value is the same for all sites. Site, sex
--         and measure are places among their names, from 0: words for millions of rows take as long as counting them.
--         No order: the percentiles sort what they need, and sorting here took as long as counting.
-- reruns  a query: it changes nothing
select
    (people // 512 - 1)::uinteger as site, (people // 256 % 2)::uinteger as sex, (people % 256)::smallint as age,
    (list_position($measures, measure) - 1)::uinteger as measure, value, n
from people_by_value('person_value', $first_site, $last_site);
