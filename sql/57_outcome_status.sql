-- outcome_status: how many people came to what at each follow-up
-- grain   months × stage × site of entry × period of entry × status
-- inputs  outcome_follow_up
-- keys    the grain is unique
-- rule    counts people who entered, each once a follow-up
-- reruns  a query: it changes nothing
select months, stage, entry_site as site, entry_period, status, count(*) as n
from outcome_follow_up
group by months, stage, entry_site, entry_period, status
order by all;
