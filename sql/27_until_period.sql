-- the store as if it ended with one period, for a frozen release; the caller's transaction is always rolled back
-- grain   reading
-- inputs  reading.accepted, ledger.file; $period: the last that stays
-- keys    reading_id
-- rule    Readings of later periods go, with their weight in what is thought of a person's other readings, so that a
--         release says the same whether it is frozen before or after the next files. Their files count them as
--         expired meanwhile, so that every account still adds up. Everything is built anew.
-- reruns  twice is the same as once
update ledger.file
set rows_accepted = rows_accepted - later.n, rows_expired = rows_expired + later.n
from (
    select file_id, count(*) as n from reading.accepted where period > $period group by file_id
) as later
where file.file_id = later.file_id;

delete from reading.set_aside
where reading_id in (select reading_id from reading.accepted where period > $period);

delete from reading.accepted where period > $period;

update ledger.file set is_built = false;
delete from ledger.count_state;
