-- clothing_entered: how much clothing was taken off readings, by analyser and period
-- grain   site × device × period
-- inputs  reading.accepted
-- keys    the grain is unique; device is '' where the files do not name it
-- rule    only readings whose file tells clothing weight; grams, so that the sum is exact
-- reruns  a query: it changes nothing
select
    site, coalesce(device, '') as device, period, count(*) as n,
    sum(round(clothing_weight_kg * 1000)::bigint)::double / 1000 as clothing_weight_kg
from reading.accepted
where clothing_weight_kg is not null
group by all
order by all;
