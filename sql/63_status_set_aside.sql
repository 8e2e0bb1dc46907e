-- accepted readings that do not count, and why
-- grain   site × code; a site's accepted readings beside it
-- inputs  reading.accepted, reading.set_aside
-- keys    (site, code)
with accepted as (
    select site, count(*) as n from reading.accepted group by site
)
select reading.site, set_aside.code, count(*) as n, any_value(accepted.n) as accepted
from reading.set_aside as set_aside
join reading.accepted as reading on reading.reading_id = set_aside.reading_id
join accepted on accepted.site = reading.site
group by reading.site, set_aside.code
order by reading.site, set_aside.code
