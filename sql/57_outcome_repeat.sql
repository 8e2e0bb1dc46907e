-- outcome_repeat: readings of a person in one visit, beside each other
-- grain   measure
-- inputs  reading.accepted, reading.set_aside, outcome_person, outcome_near; $same_visit_hours
-- keys    measure unique
-- rule    pairs of a reading and the next within $same_visit_hours of it that are not set aside, adults; a reading is in
--         one pair only: the first two of a visit. Whole thousandths, so that sums are exact.
--         d is the second less the first; v are both readings: n pairs, 2n readings
-- reruns  a query: it changes nothing
with
counted as (
    select
        person, accepted.reading_id, measured_at, weight_kg as weight,
        fat_percent(body_fat_percent, fat_mass_kg, fat_free_mass_kg, weight_kg) as body_fat_percent,
        fat_kg(fat_mass_kg, fat_free_mass_kg, body_fat_percent, weight_kg) as fat_mass,
        fat_free_kg(fat_free_mass_kg, fat_mass_kg, body_fat_percent, weight_kg) as fat_free_mass
    from reading.accepted as accepted
    join outcome_person on outcome_person.participant = accepted.participant
    semi join outcome_near on outcome_near.person = outcome_person.person
    anti join reading.set_aside as set_aside on set_aside.reading_id = accepted.reading_id
    where age >= 20
),
beside as (
    select
        weight, body_fat_percent, fat_mass, fat_free_mass,
        lead(weight) over later as next_weight, lead(body_fat_percent) over later as next_body_fat_percent,
        lead(fat_mass) over later as next_fat_mass, lead(fat_free_mass) over later as next_fat_free_mass,
        date_diff('second', measured_at, lead(measured_at) over later) <= 3600 * $same_visit_hours as is_repeated,
        coalesce(
            date_diff('second', lag(measured_at) over later, measured_at) <= 3600 * $same_visit_hours, false
        ) as is_repeat
    from counted
    window later as (partition by person order by measured_at, reading_id)
),
pair as (
    select unnest([
        {measure: 'weight', one: weight, other: next_weight},
        {measure: 'body_fat_percent', one: body_fat_percent, other: next_body_fat_percent},
        {measure: 'fat_mass', one: fat_mass, other: next_fat_mass},
        {measure: 'fat_free_mass', one: fat_free_mass, other: next_fat_free_mass}
    ]) as readings
    from beside
    where is_repeated and not is_repeat
),
value as (
    select
        readings.measure as measure, round(1000 * readings.one)::bigint as one,
        round(1000 * readings.other)::bigint as other
    from pair
    where readings.one is not null and readings.other is not null
)
select
    measure, count(*) as n,
    sum((other - one) * (other - one))::double / 1e6 as dd,
    sum(one + other)::double / 1e3 as v,
    sum(one * one + other * other)::double / 1e6 as vv
from value
group by measure
order by measure;
