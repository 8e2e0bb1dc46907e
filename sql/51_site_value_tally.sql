-- site_value_tally: period × sex × age × measure × value → n, of one site; tally.value is the same for all sites
-- grain   period × sex × age × measure × value
-- inputs  person_value; $site
-- keys    (period, sex, age, measure, value) unique, none null
-- rule    n counts people; a measure that was not taken counts nowhere. No order: the percentiles sort what they
--         need, and sorting here took as long as counting.
-- reruns  a query: it changes nothing
with period as (
    select period, row_number() over (order by period) as number
    from (select distinct period from reading.participant_period)
)
select
    period.period, case people // 256 % 2 when 1 then 'male' else 'female' end as sex, people % 256 as age,
    counted.measure, counted.value, counted.n
from people_by_value('person_value', $site) as counted
join period on period.number = people // 512;
