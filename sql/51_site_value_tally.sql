-- site_value_tally: how many people have each value of each measure, of sites that follow each other by name
-- grain   site × sex × age × measure × value
-- inputs  person_value, person_site; $first_site, $last_site
-- keys    (site, sex, age, measure, value) unique, none null
-- rule    n counts people; a measure that was not taken counts nowhere. tally.value is the same for all sites. No order:
--         the percentiles sort what they need, and sorting here took as long as counting.
-- reruns  a query: it changes nothing
select
    person_site.site, case counted.people // 256 % 2 when 1 then 'male' else 'female' end as sex,
    counted.people % 256 as age, counted.measure, counted.value, counted.n
from people_by_value('person_value', $first_site, $last_site) as counted
join person_site on person_site.number = counted.people // 512;
