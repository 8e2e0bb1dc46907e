-- outcome_due (temporary): how many people were due and seen, and how heavy and tall they were at entry
-- grain   months × class
-- inputs  outcome_follow_up
-- keys    the grain is unique
-- rule    people whose follow-up was due. n_seen counts those of them who were seen; bmi, weight and height_squared sum
--         thousandths of kg/m², of kg and of m² at entry, whole numbers, and bmi_squared the squares of the first
-- reruns  once a follow-up: each adds its own
create or replace temp table due_now as
select
    months, class, count(*) as n_due, count(*) filter (where is_seen) as n_seen,
    sum(entry_bmi) as bmi, sum(entry_bmi::bigint * entry_bmi) as bmi_squared, sum(entry_weight) as weight,
    sum(entry_height_squared) as height_squared
from outcome_follow_up
where is_due
group by months, class;

create temp table if not exists outcome_due as from due_now limit 0;
insert into outcome_due from due_now;
drop table due_now;
