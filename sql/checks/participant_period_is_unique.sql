-- stop: one row a person a period
select participant, period, count(*) as n
from reading.participant_period
where $periods is null or list_contains($periods, period)
group by all
having count(*) > 1
order by all;
