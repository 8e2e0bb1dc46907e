-- result.data_quality: what became of what each site sent, and how often each check spoke
-- grain   site × period × item; period null for what has none; site '' for all sites together
-- inputs  ledger.file, ledger.held_row, reading.accepted, reading.set_aside, reading.participant_period
-- keys    (site, period, item) unique (a null period is one value)
-- rule    severity says what n counts and what it is out of:
--           count      rows_…: rows out of the rows read; files_held: whole files out of the files received;
--                      readings: accepted readings that may count, out of the accepted; people: out of themselves
--           hold       rows with this reason, out of the rows read; a row with two reasons counts under both
--           set_aside  readings with this reason, out of the accepted of the period
--           flag       readings with this remark, out of the accepted of the period
--         Held rows have no period: what was wrong may be the date. An item with n = 0 has a row only as a count.
-- reruns  replaced whole
delete from result.data_quality;

insert into result.data_quality (site, period, item, severity, n, denominator, proportion, flag)
with
file_count as (
    select
        site,
        -- rows of people who withdrew and of expired periods are gone from the account too: a published count
        -- of them would tell that somebody withdrew
        sum(rows_read - rows_withdrawn - rows_expired) as rows_read, sum(rows_accepted) as rows_accepted, sum(rows_held) as rows_held,
        sum(rows_duplicate) as rows_duplicate, sum(rows_superseded) as rows_superseded,
        count_if(state <> 'accepted') as files_held, count(*) as files
    from ledger.file
    group by site
),
file_item as (
    select site, null::varchar as period, unnest([
        {item: 'rows_read', n: rows_read, denominator: rows_read},
        {item: 'rows_accepted', n: rows_accepted, denominator: rows_read},
        {item: 'rows_held', n: rows_held, denominator: rows_read},
        {item: 'rows_duplicate', n: rows_duplicate, denominator: rows_read},
        {item: 'rows_superseded', n: rows_superseded, denominator: rows_read},
        {item: 'files_held', n: files_held, denominator: files}
    ], recursive := true), 'count' as severity
    from file_count
),
held_item as (
    select
        reason.site, null::varchar as period, reason.item, reason.n, file_count.rows_read as denominator,
        'hold' as severity
    from (
        select site, item, count(*) as n
        from (
            select file.site, unnest(held_row.codes) as item
            from ledger.held_row as held_row join ledger.file as file on file.file_id = held_row.file_id
        )
        group by site, item
    ) as reason
    join file_count on file_count.site = reason.site
),
accepted_count as (
    select site, period, count(*) as n from reading.accepted group by site, period
),
set_aside_reading as (
    select accepted.site, accepted.period, set_aside.reading_id, set_aside.code
    from reading.set_aside as set_aside
    join reading.accepted as accepted on accepted.reading_id = set_aside.reading_id
),
reading_item as (
    select accepted_count.site, accepted_count.period, 'readings' as item,
        accepted_count.n - coalesce(away.n, 0) as n, accepted_count.n as denominator, 'count' as severity
    from accepted_count
    left join (
        select site, period, count(distinct reading_id) as n from set_aside_reading group by site, period
    ) as away on away.site = accepted_count.site and away.period = accepted_count.period
),
people_item as (
    select site, period, 'people' as item, count(*) as n, count(*) as denominator, 'count' as severity
    from reading.participant_period
    group by site, period
),
remark_item as (
    select remark.site, remark.period, remark.item, remark.n, accepted_count.n as denominator, remark.severity
    from (
        select site, period, code as item, count(*) as n, 'set_aside' as severity
        from set_aside_reading group by site, period, code
        union all
        select site, period, item, count(*), 'flag'
        from (select site, period, unnest(flags) as item from reading.accepted where len(flags) > 0)
        group by site, period, item
    ) as remark
    join accepted_count on accepted_count.site = remark.site and accepted_count.period = remark.period
),
site_item as (
    select site, period, item, severity, n, denominator from file_item
    union all by name select site, period, item, severity, n, denominator from held_item
    union all by name select site, period, item, severity, n, denominator from reading_item
    union all by name select site, period, item, severity, n, denominator from people_item
    union all by name select site, period, item, severity, n, denominator from remark_item
),
-- what all sites together are out of: every site's rows or readings, also of sites where the check never spoke
total as (
    select
        item_row.period, item_row.item, item_row.severity, item_row.n,
        case
            when item_row.item in ('files_held', 'people') then item_row.denominator
            when item_row.period is null then (select sum(rows_read) from file_count)
            else accepted_all.n
        end as denominator
    from (
        select period, item, severity, sum(n) as n, sum(denominator) as denominator
        from site_item group by period, item, severity
    ) as item_row
    left join (
        select period, sum(n) as n from accepted_count group by period
    ) as accepted_all on accepted_all.period = item_row.period
)
select site, period, item, severity, n, denominator, n / nullif(denominator, 0) as proportion, null as flag
from site_item
union all
select '', period, item, severity, n, denominator, n / nullif(denominator, 0), null
from total
order by site, period nulls first, severity, item;
