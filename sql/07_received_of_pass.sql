-- received_of_pass, broken_line_of_pass (temporary): one more file of the pass
-- grain   one row of one file; one broken line
-- inputs  received, broken_line (that file); $file: its place in the pass
-- keys    (file, line) unique
-- reruns  once a file
insert into received_of_pass by name select $file as file, * from received;
insert into broken_line_of_pass by name select $file as file, * from broken_line;
