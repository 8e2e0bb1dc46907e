-- who_position: how many of the 5- to 19-year-olds have a z-score below each centile, by site
-- grain   site × period × sex × age × percentile
-- inputs  reading.participant_period; centile (lent: percentile, edge, the highest hundredth of z still below it); $period
-- keys    (site, period, sex, age, percentile) unique, none null
-- rule    z-scores as tally.value has them, to the hundredth. Someone without a z-score is nowhere in it.
-- reruns  a query: it changes nothing
with z_score as (
    select site, period, sex, age, bmi_z as z, count(*) as n
    from people_in_steps('reading.participant_period')
    where period = $period and bmi_z is not null
    group by all
)
select
    z_score.site, z_score.period, z_score.sex, z_score.age, centile.percentile,
    sum(z_score.n)::bigint as denominator,
    coalesce(sum(z_score.n) filter (where z_score.z <= centile.edge), 0)::bigint as n
from z_score cross join centile
group by all
order by all;
