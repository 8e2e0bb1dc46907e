-- received (temporary), from a delimited UTF-8 file in which each physical line is one row
-- grain   one line below the header
-- inputs  the file at $path; $columns names each column by its field, or by its place with a leading _ where
--         the profile does not use it
-- keys    line unique: rows come in the file's order, so the n-th row stands n lines below the header
-- rule    strict: a line with fewer or more fields, or a stray quote, makes the statement fail as a whole
-- reruns  the caller takes the file's rows out of received before
insert into received by name
select
    row_number() over () + $header_row as line,
    columns(lambda name: not starts_with(name, '_'))
from read_csv(
    $path,
    columns = $columns, delim = $delimiter, quote = $quote, escape = $quote, header = false, skip = $header_row,
    auto_detect = false, strict_mode = true, null_padding = false, ignore_errors = false, nullstr = $no_null
);
