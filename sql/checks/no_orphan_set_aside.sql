-- stop: every reading set aside is an accepted reading
select reading_id, code
from reading.set_aside
where reading_id not in (select reading_id from reading.accepted)
order by all;
