-- first reason: why lines of this pass are held, by the profile that reads their file
-- grain   reader × code × field that the code names
-- inputs  entered (file, reader: those files that are filed), checked, broken_line (all of this pass)
-- keys    (reader, code, named_field) unique
-- rule    the most serious reason of each line, as in 13_held_row.sql. Most passes have none, and are spared that statement
-- reruns  a query: it changes nothing
with held as (
    select
        entered.reader,
        case when broken.line is not null then broken.code else checked.codes[1] end as first_code
    from checked
    join entered on entered.file = checked.file
    left join broken_line as broken on broken.file = checked.file and broken.line = checked.line
    where len(checked.codes) > 0 or broken.line is not null
)
select distinct reader, split_part(first_code, ':', 1) as code, split_part(first_code, ':', 2) as named_field
from held
order by all
