-- person_change (temporary): how a person's weight and body fat changed from one reading to the next
-- grain   person × reading with one before it × measure
-- inputs  reading.accepted, reading.set_aside
-- keys    (reading_id, measure) unique
-- rule    Consecutive readings that are not set aside, in order of time; ties by reading_id. A reading without the
--         measure is passed over for that measure. Classes are those in which people change alike: sex, age, whether
--         it is the person's first change, and the time between. Within a class a change further from the median
--         than three standard deviations (1.4826 × median absolute deviation, at least 0.3) is drawn in to there: one
--         forgotten coat must not make an analyser look wrong.
-- reruns  replaced whole
create or replace temp table person_change as
with
measured as (
    select
        reading_id, participant, measured_at, site, device, period, sex, age,
        weight_kg as weight,
        fat_percent(body_fat_percent, fat_mass_kg, fat_free_mass_kg, weight_kg) as body_fat_percent
    from reading.accepted
    where reading_id not in (select reading_id from reading.set_aside)
),
value as (
    select reading_id, participant, measured_at, site, device, period, sex, age, measure, value
    from measured unpivot (value for measure in (weight, body_fat_percent))
),
change as (
    select
        reading_id, measure, site, device, period, sex,
        case when age < 10 then 5 when age < 15 then 10 when age < 20 then 15
             when age < 40 then 20 when age < 60 then 40 else 60 end as age_class,
        lag(site) over previous as earlier_site,
        lag(device) over previous as earlier_device,
        lag(period) over previous as earlier_period,
        row_number() over previous = 2 as is_first_change,
        date_diff('day', lag(measured_at) over previous, measured_at) / 7.0 as weeks,
        value - lag(value) over previous as change
    from value
    window previous as (partition by participant, measure order by measured_at, reading_id)
),
classed as (
    select
        *,
        case when weeks = 0 then 0 when weeks < 6 then 1 when weeks < 13 then 2 when weeks < 26 then 3 else 4 end
            as weeks_class
    from change
    where earlier_site is not null
),
spread as (
    select
        measure, sex, age_class, is_first_change, weeks_class,
        median(change) as middle, greatest(3 * 1.4826 * mad(change), 0.3) as reach
    from classed
    group by measure, sex, age_class, is_first_change, weeks_class
)
select
    classed.reading_id, classed.measure, classed.site, classed.device, classed.period,
    classed.earlier_site, classed.earlier_device, classed.earlier_period,
    classed.sex, classed.age_class, classed.is_first_change, classed.weeks_class, classed.weeks,
    greatest(spread.middle - spread.reach, least(spread.middle + spread.reach, classed.change)) as change
from classed
join spread using (measure, sex, age_class, is_first_change, weeks_class);
