-- status of every received file, with the day of its last reading
-- grain   file
-- inputs  ledger.file, reading.accepted
-- keys    file_id
select
    file.file_id, file.site, file.name, file.sha256, file.received_at, file.state, file.reason_code, file.reason,
    file.rows_read, file.rows_accepted, file.rows_held, file.rows_duplicate, file.rows_superseded,
    file.rows_withdrawn, file.rows_expired,
    reading.last_measured_on
from ledger.file as file
left join (
    select file_id, max(measured_on) as last_measured_on from reading.accepted group by file_id
) as reading on reading.file_id = file.file_id
order by file.site, file.file_id
