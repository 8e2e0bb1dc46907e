-- change_cell: sums of the changes between one analyser and month and another, by class of people
-- grain   measure × site × device × month × earlier site × earlier device × earlier month × class
-- inputs  person_change
-- keys    the grain is unique; device is '' where the files do not name it
-- rule    Months are counted from the year 0 (12 × year + month − 1), so that a fault can begin within a period; `days`
--         is into the month, of the later reading. Sums in thousandths, whole numbers: they are exact, whatever the
--         order in which rows are added.
-- reruns  a query: it changes nothing
select
    measure, site, coalesce(device, '') as device, period,
    12 * year(measured_at) + month(measured_at) - 1 as month,
    earlier_site, coalesce(earlier_device, '') as earlier_device,
    12 * year(earlier_measured_at) + month(earlier_measured_at) - 1 as earlier_month,
    dense_rank() over (order by measure, sex, age_class, stage, weeks_class) as class,
    stage,
    age_class >= 20 as is_grown,
    count(*) as n,
    sum(day(measured_at) - 1)::double as days,
    sum(round(weeks * 1000)::bigint)::double / 1000 as weeks,
    sum(round(change * 1000)::bigint)::double / 1000 as change,
    sum((round(change * 1000)::bigint) * (round(change * 1000)::bigint))::double / 1e6 as change_squared
from person_change
group by
    measure, site, device, period, month, earlier_site, earlier_device, earlier_month,
    sex, age_class, stage, weeks_class
order by all;
