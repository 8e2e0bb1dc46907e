-- stop: everybody who entered has one row for each follow-up, and who was seen has one change
select person, months, count(*) as n
from outcome_follow_up
group by person, months
having count(*) <> 1
union all
select person, months, count(*) as n
from outcome_change
group by person, months
having count(*) <> 1
union all
select null as person, null as months, count(*) as n
from outcome_follow_up
having count(*) <> (select count(*) from reading.visit where visit = 1) * (select count(*) from follow_up_window)
    or count(*) filter (where is_seen) <> (select count(*) from outcome_change);
