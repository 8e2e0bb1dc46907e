-- ledger.unaccepted_row: lines of this pass that gave no reading
-- grain   one line of one file
-- inputs  entered (file, file_id: those files that are filed), checked, broken_line, repeated_reading (all of this pass)
-- keys    (file_id, line) unique
-- rule    the pseudonym stands with the line, so that who withdraws takes it along; the cells do not
-- reruns  a file is filed once; one that is read again was emptied by 17_file_read_again.sql
insert into ledger.unaccepted_row (file_id, line, participant, outcome)
select
    entered.file_id,
    checked.line,
    checked.participant,
    case
        when len(checked.codes) > 0 or broken.line is not null then 'held'
        else repeated_reading.outcome
    end as outcome
from checked
join entered on entered.file = checked.file
left join broken_line as broken on broken.file = checked.file and broken.line = checked.line
left join repeated_reading on repeated_reading.file = checked.file and repeated_reading.line = checked.line
where len(checked.codes) > 0 or broken.line is not null or repeated_reading.outcome <> 'accepted'
order by entered.file_id, checked.line;
