-- received, checked (temporary) without the lines that must not be kept
-- grain   one line of one file
-- inputs  leaving_line
-- keys    (file, line)
-- reruns  twice is the same as once
delete from received using leaving_line
where received.file = leaving_line.file and received.line = leaving_line.line;
delete from checked using leaving_line
where checked.file = leaving_line.file and checked.line = leaving_line.line;
