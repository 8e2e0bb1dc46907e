-- received (temporary), from delimited UTF-8 files of one layout in which each physical line is one row
-- grain   one line below the header of a file
-- inputs  the files at $paths, and plain_file, which is lent: path, file, and how many rows the files before it should
--         have; $columns names each column by its field, or by its place with a leading _ where it is put to no use
-- keys    (file, line) unique, as long as every file has the rows that it should: rows come in the order of the files
--         and of their lines, so the n-th row of a file stands n lines below its header (07_inexact_file.sql)
-- rule    strict: a line with fewer or more fields, or a stray quote, makes the statement fail as a whole. Names say
--         nothing: not that a file is packed (.gz), nor what it holds (a folder weight=99)
-- reruns  the caller takes the files' rows out of received before
insert into received by name
select
    plain_file.file,
    row.number - plain_file.rows_before + $header_row as line,
    columns(row.* exclude (number, _path))
from (
    select
        row_number() over () as number,
        _path,
        columns(lambda name: not starts_with(name, '_'))
    from read_csv(
        $paths,
        columns = $columns, delim = $delimiter, quote = $quote, escape = $quote, header = false, skip = $header_row,
        auto_detect = false, strict_mode = true, null_padding = false, ignore_errors = false, nullstr = $no_null,
        filename = '_path', compression = 'none', hive_partitioning = false
    )
) as row
join plain_file on plain_file.path = row._path;
