-- entered (temporary): the files of a pass whose rows are filed
-- grain   one file
-- inputs  listed (the columns below)
-- keys    file unique: its place in the pass, 1 is the first; file_id unique: its number in the ledger
-- rule    a file with a fault, and one that turned out to be known, is not among them, though its rows may stand in the
--         tables of the pass. reader: files of one number are read with the same profile
-- reruns  made anew for every pass
create or replace temp table entered as
select file, file_id, site, reader from listed;
