-- site_person_value: sex × age × measure × value → n, of one site; tally.person_value is the same for all sites
-- grain   sex × age × measure × value
-- inputs  last_person_value; $site
-- keys    (sex, age, measure, value) unique, none null
-- rule    n counts people, each once over all periods, at the site of their last counted reading
-- reruns  a query: it changes nothing
select
    case people // 256 when 1 then 'male' else 'female' end as sex, people % 256 as age, measure, value, n
from people_by_value('last_person_value', $site)
order by all;
