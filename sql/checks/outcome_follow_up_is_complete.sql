-- stop: everybody who entered has one row for each follow-up, and who was seen has a later reading
select participant, months, count(*) as n, count(weight_kg) as n_weights, bool_or(is_seen) as is_seen
from outcome_follow_up
group by participant, months
having count(*) <> 1 or bool_or(is_seen) <> (count(weight_kg) = 1 and bool_or(is_due))
union all
select entered.participant, null as months, count(follow_up.months) as n, 0 as n_weights, false as is_seen
from outcome_visit as entered
left join outcome_follow_up as follow_up using (participant)
where entered.visit = 1
group by entered.participant
having count(follow_up.months) <> (select count(*) from follow_up_window);
