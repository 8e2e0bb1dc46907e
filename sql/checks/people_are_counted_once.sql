-- stop: ledger.count_state knows how many people have a reading that counts, each once
select kept.people as kept, counted.n as counted
from ledger.count_state as kept
cross join (select count(distinct participant) as n from reading.participant_period) as counted
where kept.people <> counted.n;
