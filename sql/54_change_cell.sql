-- change_cell: sums of the changes between one analyser and month and another, by class of people
-- grain   measure × site × device × month × earlier site × earlier device × earlier month × class
-- inputs  person_change; $measure, $period: null for all
-- keys    the grain is unique; device is '' where the files do not name it
-- rule    Months are counted from the year 0 (12 × year + month − 1), so that a fault can begin within a period; `days`
--         is into the month, of the later reading. Sums in thousandths, whole numbers: they are exact, whatever the
--         order in which rows are added. No order: whoever adds them up sorts them.
-- reruns  a query: it changes nothing
with changed as (
    select
        *,
        (12 * year(measured_at) + month(measured_at) - 1)::integer as later_month,
        (12 * year(earlier_measured_at) + month(earlier_measured_at) - 1)::integer as before_month,
        round(change * 1000)::bigint as thousandths
    from person_change
    where ($measure is null or measure = $measure) and ($period is null or period = $period)
)
select
    measure, site, coalesce(device, '') as device, period, later_month as month,
    earlier_site, coalesce(earlier_device, '') as earlier_device, before_month as earlier_month,
    class,
    any_value(stage) as stage,
    any_value(is_grown) as is_grown,
    count(*) as n,
    sum(day(measured_at) - 1)::double as days,
    sum(round(weeks * 1000)::bigint)::double / 1000 as weeks,
    sum(thousandths)::double / 1000 as change,
    sum(thousandths * thousandths)::double / 1e6 as change_squared
from changed
group by measure, site, device, period, later_month, earlier_site, earlier_device, before_month, class;
