-- entry_check: rows sent twice, values that cannot be, and athlete mode where it does not fit, by site
-- grain   site × period × check; period null for all periods, and for rows, which have none
-- inputs  ledger.file, ledger.held_row, reading.accepted
-- keys    the grain is unique
-- rule    duplicated: rows received again, of the rows read. impossible: rows held for a value out of range or a body
--         that cannot be, of the rows read; a row counts once. athlete_mode: readings with a remark on athlete mode, of
--         the readings that tell it. A site that tells it of no reading has no such row.
-- reruns  a query: it changes nothing
with
file_count as (
    select site, sum(rows_read) as rows_read, sum(rows_duplicate) as rows_duplicate
    from ledger.file
    group by site
    having sum(rows_read) > 0
),
impossible as (
    select file.site, count(*) as n
    from ledger.held_row as held_row
    join ledger.file as file on file.file_id = held_row.file_id
    where len(list_filter(
        held_row.codes, lambda code: split_part(code, ':', 1) in
            ('out_of_range', 'implausible_bmi', 'implausible_fat_free_mass')
    )) > 0
    group by file.site
),
athlete as (
    select
        site, period, count(*) as denominator,
        count_if(len(list_filter(flags, lambda code: starts_with(code, 'athlete_mode'))) > 0) as n
    from reading.accepted
    where is_athlete_mode is not null
    group by grouping sets ((site, period), (site))
)
select site, null::varchar as period, 'duplicated' as "check", rows_duplicate::bigint as n,
    rows_read::bigint as denominator
from file_count
union all
select file_count.site, null, 'impossible', coalesce(impossible.n, 0)::bigint, file_count.rows_read::bigint
from file_count left join impossible on impossible.site = file_count.site
union all
select site, period, 'athlete_mode', n::bigint, denominator::bigint from athlete
order by "check", period nulls first, site;
