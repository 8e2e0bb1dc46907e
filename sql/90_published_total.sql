-- published total: how much the release as a whole rests on
-- grain   item
-- inputs  reading.accepted, ledger.count_state, ledger.file
-- keys    item unique
-- rule    readings counts accepted readings; people counts participants who have a reading that counts in any
--         period, each once (pipeline/readings.py keeps how many); files counts accepted files. Not refused or held
--         ones: they gave nothing.
-- reruns  a query: it changes nothing
select 'files' as item, count(*) as n from ledger.file where state = 'accepted'
union all
select 'people' as item, coalesce(max(people), 0) as n from ledger.count_state
union all
select 'readings' as item, count(*) as n from reading.accepted
order by item;
