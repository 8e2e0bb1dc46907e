-- person_change (temporary): how a person's weight and body fat changed from one reading to the next
-- grain   person × pair of consecutive readings, without the person
-- inputs  change_reading; $first: period of the later reading from which on, or null for all
-- keys    none: only counts and sums are made of it
-- rule    Consecutive in order of time; ties by reading_id. A reading without body fat is passed over for that: people
--         who have it at some readings and not at others get rows of their own for it. Whole thousandths; null where
--         the row does not tell the measure. Classes are those in which people change alike: sex, age, the time
--         between, and the stage: 0 the person's first change, 1 one that began within 26 weeks of the first reading,
--         2 any later one; people change most at first. class numbers them, 0 to 179: who + 5 × stage + class of the
--         time between. Months are counted from the year 0 (12 × year + month − 1), so that a fault can begin within
--         a period; days is into the month, of the later reading; weeks in thousandths.
-- reruns  once a part of the people: each adds its own
create temp table if not exists person_change (
    period varchar, place integer, earlier_place integer, month integer, earlier_month integer, days smallint,
    weeks integer, class smallint, weight integer, body_fat_percent integer
);

insert into person_change (
    period, place, earlier_place, month, earlier_month, days, weeks, class, weight, body_fat_percent
)
with
has_fat_at_some as (
    select person from change_reading group by person having count(fat) between 1 and count(*) - 1
),
-- readings that follow each other: all of a person's, and of those people once more the ones that have fat
series as (
    select
        2 * person as series, reading_id, measured_at, period, place, who, weight,
        case when person not in (select person from has_fat_at_some) then fat end as fat
    from change_reading
    union all
    select 2 * person + 1, reading_id, measured_at, period, place, who, null, fat
    from change_reading
    where fat is not null and person in (select person from has_fat_at_some)
),
change as (
    select
        period, place, who, measured_at,
        lag(place) over previous as earlier_place,
        lag(measured_at) over previous as earlier_measured_at,
        case when row_number() over previous = 2 then 0
             when date_diff('day', first_value(measured_at) over previous, lag(measured_at) over previous) < 182 then 1
             else 2 end as stage,
        round((weight - lag(weight) over previous) * 1000)::integer as weight,
        round((fat - lag(fat) over previous) * 1000)::integer as body_fat_percent
    from series
    window previous as (partition by series order by measured_at, reading_id)
)
select
    period, place, earlier_place,
    (12 * year(measured_at) + month(measured_at) - 1)::integer as month,
    (12 * year(earlier_measured_at) + month(earlier_measured_at) - 1)::integer as earlier_month,
    (day(measured_at) - 1)::smallint as days,
    round(date_diff('day', earlier_measured_at, measured_at) / 7.0 * 1000)::integer as weeks,
    (who + 5 * stage + case when weeks = 0 then 0 when weeks < 6000 then 1 when weeks < 13000 then 2
                            when weeks < 26000 then 3 else 4 end)::smallint as class,
    weight, body_fat_percent
from change
where earlier_place is not null and ($first is null or period >= $first);
