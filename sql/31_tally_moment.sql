-- tally.moment: how many people, the sum and the sum of squares of each measure, by site
-- grain   site × period × sex × age group × measure
-- inputs  counted_anew, changed_person, touched_period, reference.age_group
-- keys    (site, period, sex, age_from, age_to, measure) unique, none null
-- rule    in print steps, as tally.value counts them: whole numbers, so the sums are exact and add up over sites,
--         periods and machines. Totals of age groups are rows of their own. A group with nobody has no row.
--         A period that is not counted anew has what it had, changed by what changes.
-- reruns  rewrites only the touched periods; twice is the same as once
delete from tally.moment where period in (select period from touched_period where is_whole);

insert into tally.moment (site, period, sex, age_from, age_to, measure, n, sum, sum_of_squares)
select site, period, sex, age_from, age_to, measure, n, sum, sum_of_squares from counted_moments('counted_anew');

create or replace temp table moment_change as from counted_moments('changed_person');

merge into tally.moment as moment
using moment_change as change
on change.site = moment.site and change.period = moment.period and change.sex = moment.sex
    and change.age_from = moment.age_from and change.age_to = moment.age_to and change.measure = moment.measure
when matched and moment.n + change.n = 0 then delete
when matched then update set
    n = moment.n + change.n, sum = moment.sum + change.sum,
    sum_of_squares = moment.sum_of_squares + change.sum_of_squares
when not matched then insert by name;

drop table moment_change;
