-- received (temporary), from the copy of a typed file that its reader wrote as text
-- grain   one row of the file
-- inputs  the Parquet file at $path: line, and those fields that the profile uses, all text
-- keys    (file, line) unique: the row of the file
-- reruns  the caller takes the file's rows out of received before
insert into received by name
select line, columns(* exclude (line))
from read_parquet($path, hive_partitioning = false);
