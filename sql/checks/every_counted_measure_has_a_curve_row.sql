-- stop: result.curve has a row of each sex for every measure that anybody has, drawn or with the reason why not
with counted as (
    select distinct measure from tally.person_value
),
told as (
    select measure, count(*) as n from result.curve group by measure
)
select measure, coalesce(told.n, 0) as n
from counted full join told using (measure)
where coalesce(told.n, 0) <> 2 or counted.measure is null;
