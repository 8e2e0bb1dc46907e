-- whether a reading of this pass may stand more than once: twice in it, or also in the store
-- grain   one row: a truth value
-- inputs  span_of_site (of this pass), reading.accepted
-- keys    none
-- rule    the store may have it where it has a reading of its site between the site's first and last of the pass
-- reruns  a query: it changes nothing
select
    exists (select site from span_of_site where is_repeated)
    or exists (
        select accepted.site
        from reading.accepted as accepted
        join span_of_site on span_of_site.site = accepted.site
            and accepted.measured_at between span_of_site.first_at and span_of_site.last_at
        where accepted.site between (select min(site) from span_of_site) and (select max(site) from span_of_site)
            and accepted.measured_at between
                (select min(first_at) from span_of_site) and (select max(last_at) from span_of_site)
    );
