-- tally.value: how many people have each value of each measure, all sites together
-- grain   period × sex × age × measure × value
-- inputs  counted_anew, changed_person, touched_period
-- keys    (period, sex, age, measure, value) unique, none null
-- rule    value counts print steps, round(value × steps per unit), half away from zero. A measure that was not
--         taken, or does not apply at the age, counts nowhere. A period that is not counted anew has what it had,
--         changed by what changes.
-- reruns  rewrites only the touched periods; twice is the same as once
create or replace temp macro counted_values(source) as table
with period as (
    select period, row_number() over (order by period) as number from touched_period
),
-- people: one whole number for period, sex and age, since counting by it takes a quarter of counting by words
person as (
    select 256 * (2 * period.number + (sex = 'male')::integer) + age as people, person_in_steps.*
    from people_in_steps(source) as person_in_steps
    join period on period.period = person_in_steps.period
)
select
    period.period, case people // 256 % 2 when 1 then 'male' else 'female' end as sex, (people % 256)::smallint as age,
    counted.measure, counted.value, counted.n
from people_by_value('person') as counted
join period on period.number = people // 512;

delete from tally.value where period in (select period from touched_period where is_whole);

insert into tally.value (period, sex, age, measure, value, n)
select period, sex, age, measure, value, n from counted_values('counted_anew');

create or replace temp table value_change as from counted_values('changed_person');

merge into tally.value as value
using value_change as change
on change.period = value.period and change.sex = value.sex and change.age = value.age
    and change.measure = value.measure and change.value = value.value
when matched and value.n + change.n = 0 then delete
when matched then update set n = value.n + change.n
when not matched then insert by name;

drop table value_change;
