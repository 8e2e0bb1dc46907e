-- tally.person_value: how many people have each value of each measure, each person once over all periods, all sites
-- grain   sex × age × measure × value
-- inputs  last_person_value
-- keys    (sex, age, measure, value) unique, none null
-- rule    value counts print steps; a measure that was not taken counts nowhere. A new period moves people from their
--         older readings, so the table is written whole: it is one pass over people, not over readings.
-- reruns  replaced whole
delete from tally.person_value;

insert into tally.person_value (sex, age, measure, value, n)
select
    case people // 256 when 1 then 'male' else 'female' end as sex, people % 256 as age, measure, value, n
from people_by_value('last_person_value');
