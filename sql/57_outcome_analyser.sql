-- outcome_analyser (temporary): what the weights of an analyser were found to be in a period
-- grain   site × device × period
-- inputs  result.device, outcome_site
-- keys    (site_number, device, period) unique, device null where a site names none
-- rule    has_signal: it signalled in that period. difference: of its weights from those of the other analysers there, in
--         kg; null for sites that name fewer than two, where drift cannot be told from people's change.
-- reruns  replaced whole
create or replace temp table outcome_analyser as
select
    site_number, device, period, signal <> '' as has_signal,
    case when count(distinct device) over (partition by site_number) >= 2 then difference end as difference
from result.device as device
join outcome_site on outcome_site.site = device.site
where measure = 'weight';
