-- received, checked (temporary) without the lines that must not be kept
-- grain   one line of one file
-- inputs  leaving_line
-- keys    line
-- reruns  twice is the same as once
delete from received where line in (select line from leaving_line);
delete from checked where line in (select line from leaving_line);
