-- Temporary macros that band a value, one a banding, and the derived measures they stand on.
select 1;
