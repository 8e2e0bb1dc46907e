-- the held rows of one site, as its people need to see them
-- grain   held row
-- inputs  ledger.held_row, ledger.file
-- keys    (file_id, line)
select file.site, file.name, held.line, held.codes, held.field, held.found, held.expected, held.proposal
from ledger.held_row as held
join ledger.file as file on file.file_id = held.file_id
where file.site = $site
order by file.file_id, held.line
