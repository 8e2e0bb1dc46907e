-- outcome_repeat: readings of a person in one visit, beside each other
-- grain   measure
-- inputs  reading.accepted, reading.set_aside; $same_visit_hours
-- keys    measure unique
-- rule    pairs of a reading and the next within $same_visit_hours of it that are not set aside, adults; a reading is
--         in one pair only: the first two of a visit. Whole thousandths, so that sums are exact.
--         d is the second less the first; v are both readings: n pairs, 2n readings
-- reruns  a query: it changes nothing
with
counted as (
    select
        participant, reading_id, measured_at, weight_kg as weight,
        fat_percent(body_fat_percent, fat_mass_kg, fat_free_mass_kg, weight_kg) as body_fat_percent,
        fat_kg(fat_mass_kg, fat_free_mass_kg, body_fat_percent, weight_kg) as fat_mass,
        fat_free_kg(fat_free_mass_kg, fat_mass_kg, body_fat_percent, weight_kg) as fat_free_mass
    from reading.accepted
    where age >= 20 and reading_id not in (select reading_id from reading.set_aside)
),
value as (
    select participant, reading_id, measured_at, measure, round(1000 * value)::bigint as value
    from counted unpivot (value for measure in (weight, body_fat_percent, fat_mass, fat_free_mass))
),
beside as (
    select
        measure, value, lead(value) over later as next_value,
        date_diff('second', measured_at, lead(measured_at) over later) <= 3600 * $same_visit_hours as is_repeated,
        coalesce(
            date_diff('second', lag(measured_at) over later, measured_at) <= 3600 * $same_visit_hours, false
        ) as is_repeat
    from value
    window later as (partition by participant, measure order by measured_at, reading_id)
)
select
    measure, count(*) as n,
    sum((next_value - value) * (next_value - value))::double / 1e6 as dd,
    sum(value + next_value)::double / 1e3 as v,
    sum(value * value + next_value * next_value)::double / 1e6 as vv
from beside
where is_repeated and not is_repeat
group by measure
order by measure;
