-- how many rows each site has held, by first reason
-- grain   site × code
-- inputs  ledger.held_row (codes: most serious first), ledger.file
-- keys    (site, code)
select file.site, held.codes[1] as code, count(*) as n
from ledger.held_row as held
join ledger.file as file on file.file_id = held.file_id
group by all
order by file.site, code
