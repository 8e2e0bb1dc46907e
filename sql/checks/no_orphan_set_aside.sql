-- stop: every reading set aside is an accepted reading
select reading_id, code
from reading.set_aside
anti join reading.accepted using (reading_id)
order by all;
