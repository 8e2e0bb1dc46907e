-- Temporary macros that read received text: numbers, units, codes, dates.
select 1;
