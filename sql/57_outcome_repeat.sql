-- outcome_repeat: readings of a person in one visit, beside each other
-- grain   measure
-- inputs  reading.repeat
-- keys    measure unique
-- rule    d is the second less the first; v are both readings: n pairs, 2n readings. Thousandths before.
-- reruns  a query: it changes nothing
with
pair as (
    select unnest([
        {measure: 'weight', one: weight, other: next_weight},
        {measure: 'body_fat_percent', one: body_fat_percent, other: next_body_fat_percent},
        {measure: 'fat_mass', one: fat_mass, other: next_fat_mass},
        {measure: 'fat_free_mass', one: fat_free_mass, other: next_fat_free_mass}
    ], recursive := true)
    from reading.repeat
),
value as (
    select measure, one::bigint as one, other::bigint as other
    from pair
    where one is not null and other is not null
)
select
    measure, count(*) as n,
    sum((other - one) * (other - one))::double / 1e6 as dd,
    sum(one + other)::double / 1e3 as v,
    sum(one * one + other * other)::double / 1e6 as vv
from value
group by measure
order by measure;
