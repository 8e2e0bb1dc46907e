-- outcome_status: how many people came to what at each follow-up
-- grain   months × stage × site of entry × period of entry × status
-- inputs  outcome_follow_up, outcome_site
-- keys    the grain is unique
-- rule    counts people who entered, each once a follow-up
-- reruns  a query: it changes nothing
with counted as (
    select months, is_adult(class) as is_of_adult, site_of(class) as site_number, entry_period, status, count(*) as n
    from outcome_follow_up
    group by all
)
select
    months, case when is_of_adult then 'adults' else 'children' end as stage, site, entry_period,
    status_of(status) as status, n
from counted
join outcome_site on outcome_site.site_number = counted.site_number
order by all;
