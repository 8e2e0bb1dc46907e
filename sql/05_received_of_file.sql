-- received, broken_line (temporary) without the rows of the file that is being read
-- grain   as in 05_received.sql
-- inputs  the variable `place`: of that file in the pass
-- keys    (file, line)
-- reruns  twice is the same as once
delete from received where file = getvariable('place');
delete from broken_line where file = getvariable('place');
