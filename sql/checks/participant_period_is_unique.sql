-- stop: one row a person a period
select participant, period, count(*) as n
from reading.participant_period
group by all
having count(*) > 1
order by all;
