-- ledger.stale_period, over_periods_stale, file_without_visits, result_state: what result.* does not know of yet
-- grain   period; file
-- inputs  touched_period, ledger.file, ledger.held_row, account_before
-- keys    period unique; file_id unique
-- rule    A run that is killed between tallies and results leaves its periods here, and the next one writes them. A
--         file that is not built makes the results that are written whole stale: they count its rows or its readings.
--         A file that was held or refused, and is again, of the same rows for the same reasons, does not.
-- reruns  twice is the same as once
create temp table if not exists account_before as from account_of_the_rest() limit 0;

insert into ledger.stale_period
select period from touched_period
where period not in (select period from ledger.stale_period);

insert into ledger.over_periods_stale
select period from touched_period
where period not in (select period from ledger.over_periods_stale);

insert into ledger.file_without_visits
select file_id from ledger.file
where not is_built and state = 'accepted' and file_id not in (select file_id from ledger.file_without_visits);

update ledger.result_state
set is_current = false
where exists (from ledger.stale_period)
    or exists (from ledger.file where not is_built and state = 'accepted')
    or (
        exists (from ledger.file where not is_built)
        and exists (
            (from account_of_the_rest() except all from account_before)
            union all
            (from account_before except all from account_of_the_rest())
        )
    );
