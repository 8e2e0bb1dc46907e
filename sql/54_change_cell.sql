-- change_cell: sums of the changes between one analyser and period and another, by class of people
-- grain   measure × site × device × period × earlier site × earlier device × earlier period × class
-- inputs  person_change
-- keys    the grain is unique; device is '' where the files do not name it
-- rule    sums in thousandths, whole numbers: they are exact, whatever the order in which rows are added
-- reruns  a query: it changes nothing
select
    measure, site, coalesce(device, '') as device, period,
    earlier_site, coalesce(earlier_device, '') as earlier_device, earlier_period,
    dense_rank() over (order by measure, sex, age_class, is_first_change, weeks_class) as class,
    age_class >= 20 as is_grown,
    count(*) as n,
    sum(round(weeks * 1000)::bigint)::double / 1000 as weeks,
    sum(round(change * 1000)::bigint)::double / 1000 as change,
    sum((round(change * 1000)::bigint) * (round(change * 1000)::bigint))::double / 1e6 as change_squared
from person_change
group by
    measure, site, device, period, earlier_site, earlier_device, earlier_period,
    sex, age_class, is_first_change, weeks_class
order by all;
