-- what a release was made from: files and rows of each site
-- grain   site
-- inputs  ledger.file
-- keys    site unique
-- rule    accepted files. rows_read is what was read and is still counted: rows of people who withdrew, and of
--         expired periods, are left out, so that no account tells that somebody withdrew. The sum is exact.
select
    site,
    count(*) as files,
    sum(rows_read - rows_withdrawn - rows_expired)::bigint as rows_read,
    sum(rows_accepted)::bigint as rows_accepted,
    sum(rows_held)::bigint as rows_held,
    sum(rows_duplicate)::bigint as rows_duplicate,
    sum(rows_superseded)::bigint as rows_superseded
from ledger.file
where state = 'accepted'
group by site
order by site
