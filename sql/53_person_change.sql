-- person_change (temporary): how a person's weight and body fat changed from one reading to the next
-- grain   person × reading with one before it × measure
-- inputs  reading.accepted, reading.set_aside
-- keys    (reading_id, measure) unique
-- rule    Consecutive readings that are not set aside, in order of time; ties by reading_id. A reading without the
--         measure is passed over for that measure. Classes are those in which people change alike: sex, age, the time
--         between, and the stage: 0 the person's first change, 1 one that began within 26 weeks of the first reading,
--         2 any later one; people change most at first. Within a class a change further from the median than three
--         standard deviations (1.4826 × median absolute deviation, at least 0.3) is drawn in to there: one forgotten
--         coat must not make an analyser look wrong. class numbers the classes, 0 to 179.
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
        reading_id, measure, site, device, period, sex, measured_at,
        case when age < 10 then 5 when age < 15 then 10 when age < 20 then 15
             when age < 40 then 20 when age < 60 then 40 else 60 end as age_class,
        lag(site) over previous as earlier_site,
        lag(device) over previous as earlier_device,
        lag(measured_at) over previous as earlier_measured_at,
        case when row_number() over previous = 2 then 0
             when date_diff('day', first_value(measured_at) over previous, lag(measured_at) over previous) < 182 then 1
             else 2 end as stage,
        value - lag(value) over previous as change
    from value
    window previous as (partition by participant, measure order by measured_at, reading_id)
),
classed as (
    select
        *,
        date_diff('day', earlier_measured_at, measured_at) / 7.0 as weeks,
        case when weeks = 0 then 0 when weeks < 6 then 1 when weeks < 13 then 2 when weeks < 26 then 3 else 4 end
            as weeks_class
    from change
    where earlier_site is not null
),
-- Medians of counts: an aggregate that holds every change of a class would not fit into memory for millions of people.
counted as (
    select measure, sex, age_class, stage, weeks_class, change, count(*) as n
    from classed
    group by measure, sex, age_class, stage, weeks_class, change
),
change_in_order as (
    select *, sum(n) over (class order by change) as up_to, sum(n) over class as of_all
    from counted
    window class as (partition by measure, sex, age_class, stage, weeks_class)
),
centre as (
    select
        measure, sex, age_class, stage, weeks_class,
        min(change) filter (where up_to >= (of_all + 1) // 2) as lower_middle,
        min(change) filter (where up_to > of_all // 2) as upper_middle,
        lower_middle + (upper_middle - lower_middle) / 2 as middle
    from change_in_order
    group by measure, sex, age_class, stage, weeks_class
),
deviation as (
    select measure, sex, age_class, stage, weeks_class, middle, abs(change - middle) as off, sum(n) as n
    from counted
    join centre using (measure, sex, age_class, stage, weeks_class)
    group by measure, sex, age_class, stage, weeks_class, middle, off
),
deviation_in_order as (
    select *, sum(n) over (class order by off) as up_to, sum(n) over class as of_all
    from deviation
    window class as (partition by measure, sex, age_class, stage, weeks_class)
),
spread as (
    select
        measure, sex, age_class, stage, weeks_class, middle,
        min(off) filter (where up_to >= (of_all + 1) // 2) as lower_middle,
        min(off) filter (where up_to > of_all // 2) as upper_middle,
        greatest(3 * 1.4826 * (lower_middle + (upper_middle - lower_middle) / 2), 0.3) as reach
    from deviation_in_order
    group by measure, sex, age_class, stage, weeks_class, middle
)
select
    classed.reading_id, classed.measure, classed.site, classed.device, classed.period, classed.measured_at,
    classed.earlier_site, classed.earlier_device, classed.earlier_measured_at,
    classed.stage, classed.weeks_class, classed.weeks, classed.age_class >= 20 as is_grown,
    (90 * (classed.sex = 'male')::integer
        + 15 * (list_position([5, 10, 15, 20, 40, 60], classed.age_class) - 1)
        + 5 * classed.stage + classed.weeks_class)::smallint as class,
    greatest(spread.middle - spread.reach, least(spread.middle + spread.reach, classed.change)) as change
from classed
join spread using (measure, sex, age_class, stage, weeks_class);
