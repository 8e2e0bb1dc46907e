-- ledger.unaccepted_row: this file's lines that gave no reading
-- grain   one line of one file
-- inputs  received, checked, broken_line, repeated_reading (all of this file); $file_id
-- keys    (file_id, line) unique
-- rule    the pseudonym stands with the line, so that who withdraws takes it along; the cells do not
-- reruns  a file is filed once; one that is read again was emptied by 17_file_read_again.sql
insert into ledger.unaccepted_row (file_id, line, participant, outcome)
select
    $file_id,
    received.line,
    checked.participant,
    case
        when len(checked.codes) > 0 or broken_line.line is not null then 'held'
        else repeated_reading.outcome
    end as outcome
from received
left join checked on checked.line = received.line
left join broken_line on broken_line.line = received.line
left join repeated_reading on repeated_reading.line = received.line and repeated_reading.reading_id is null
where len(checked.codes) > 0 or broken_line.line is not null or repeated_reading.outcome <> 'accepted';
