-- stop: at each follow-up everybody who entered has one row, and everybody who was seen one change
-- told by how many there are and by the sum of their numbers: grouping by person would cost as much as the rest
with
entered as (
    select months, n, persons
    from follow_up_window
    cross join (select count(*) as n, coalesce(sum(person), 0) as persons from reading.visit where visit = 1)
),
followed as (
    select
        months, count(*) as n, sum(person) as persons,
        count(*) filter (where is_seen) as n_seen, coalesce(sum(person) filter (where is_seen), 0) as persons_seen
    from outcome_follow_up
    group by months
),
changed as (
    select months, count(*) as n, sum(person) as persons from outcome_change group by months
)
select
    entered.months, entered.n as n_entered, followed.n as n_followed, followed.n_seen, changed.n as n_changed
from entered
left join followed on followed.months = entered.months
left join changed on changed.months = entered.months
where entered.n > 0 and not coalesce(
    (entered.n, entered.persons) = (followed.n, followed.persons)
    and (followed.n_seen, followed.persons_seen) = (coalesce(changed.n, 0), coalesce(changed.persons, 0)), false
);
