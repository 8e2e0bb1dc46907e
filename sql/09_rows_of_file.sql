-- rows_of_file (temporary): how many rows each file of a pass has, those that must not be kept among them
-- grain   one file with rows
-- inputs  received
-- keys    file unique: its place in the pass
-- rule    counted before anything is made of the rows, so that the account of a file shows a row that got lost on its way
-- reruns  made anew for every pass
create or replace temp table rows_of_file as
select file, count(*) as n from received group by file;
