-- received_of_pass, checked (temporary) without the lines that must not be kept
-- grain   one line of one file
-- inputs  leaving_line
-- keys    (file, line)
-- reruns  twice is the same as once
delete from received_of_pass using leaving_line
where received_of_pass.file = leaving_line.file and received_of_pass.line = leaving_line.line;
delete from checked using leaving_line
where checked.file = leaving_line.file and checked.line = leaving_line.line;
