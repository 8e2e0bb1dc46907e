-- Which sheet of a workbook was read: a profile may name another one since, and lines are those of the sheet that was read.
-- '': the first; null: of another format, or read by a version before this one.
alter table ledger.file add column sheet varchar;
