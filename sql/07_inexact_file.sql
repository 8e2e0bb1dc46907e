-- inexact file: in which files that were read as plain lines is a row not told by its line?
-- grain   one file
-- inputs  received; plain_file, which is lent: files that were read together, and how many lines each has
-- keys    file unique
-- rule    a blank line is no row, and a line end within quotes is no end of one: the file then has fewer rows than
--         lines below the header, or rows that are blank, and the files read after it begin at another line. Whether
--         a row is blank is asked of three columns first: asking all is dearer than reading them
-- reruns  a query: it changes nothing
with row_count as (
    select file, count(*) as n, min(line) as first_line, max(line) as last_line
    from received
    where file in (select file from plain_file)
    group by file
),
with_blank_row as (
    select distinct file
    from received
    where concat(participant, measured_on, weight) = '' and concat(columns(* exclude (file, line))) = ''
)
select file
from plain_file
left join row_count using (file)
where
    coalesce(n, 0) != lines - $header_row
    or first_line != $header_row + 1
    or last_line != lines
    or file in (select file from with_blank_row)
order by file;
