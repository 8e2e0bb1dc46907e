-- status of every step of every run, newest run first, steps in their order
-- grain   run × step
-- inputs  ledger.run_step
-- keys    (run_id, step)
select run_id, step, round(seconds, 1) as seconds
from ledger.run_step
order by run_id desc, rowid
