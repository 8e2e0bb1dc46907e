-- tally.value: how many people have each value of each measure, all sites together
-- grain   period × sex × age × measure × value
-- inputs  counted_anew, changed_person, touched_period
-- keys    (period, sex, age, measure, value) unique, none null
-- rule    value counts print steps, round(value × steps per unit), half away from zero. A measure that was not
--         taken, or does not apply at the age, counts nowhere. A period that is not counted anew has what it had,
--         changed by what changes.
-- reruns  rewrites only the touched periods; twice is the same as once
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
