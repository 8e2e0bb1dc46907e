-- stop: everybody who entered has one row for each follow-up, and who was seen has one change
select person, months, count(*) as n
from outcome_follow_up
group by person, months
having count(*) <> 1
union all
select entered.person, null as months, count(follow_up.months) as n
from outcome_visit as entered
left join outcome_follow_up as follow_up on follow_up.person = entered.person
where entered.visit = 1
group by entered.person
having count(follow_up.months) <> (select count(*) from follow_up_window)
union all
select person, months, count(outcome_change.months) as n
from outcome_follow_up
full join outcome_change using (person, months)
where is_seen or is_seen is null
group by person, months
having count(outcome_change.months) <> 1;
