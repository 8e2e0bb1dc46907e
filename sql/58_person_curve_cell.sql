-- person_curve_cell: in which cell of a measure's curves each person of a site stands
-- grain   participant, without the participant
-- inputs  last_person_value; curve_cell (lent: people, value, row); $measure
-- keys    none: only sums are made of it
-- rule    Each person counts once over all periods, at the site of their last counted reading. who: the site's number
--         times 512, and people, as in last_person_value. row: that of curve_cell. What a cell adds to a site's sums
--         is looked up where they are added: joined here it would be a dozen columns a person.
-- reruns  a query: it changes nothing
select (512 * person.site + person.people)::integer as who, curve_cell.row::integer as row
from values_of('last_person_value', $measure) as person
join curve_cell on curve_cell.people = person.people and curve_cell.value = person.value;
