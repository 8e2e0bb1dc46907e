-- site_curve_sum: what the curves of one measure say of each person, added up over a site's people
-- grain   site × sex × age
-- inputs  last_person_value; curve_cell (lent: people, value, and one column term_… a sum); $measure
-- keys    (site, sex, age) unique, none null
-- rule    Each person counts once over all periods, at the site of their last counted reading. What is added is whole
--         numbers, so that the order does not matter. A term that the sex's curve does not have is null throughout.
-- reruns  a query: it changes nothing
select
    person.site, case person.people // 256 when 1 then 'male' else 'female' end as sex,
    (person.people % 256)::smallint as age, count(*) as people,
    sum(columns(lambda name: starts_with(name, 'term_')))::double
from values_of('last_person_value', $measure) as person
join curve_cell on curve_cell.people = person.people and curve_cell.value = person.value
group by person.site, person.people
order by all;
