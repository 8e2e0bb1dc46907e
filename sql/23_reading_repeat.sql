-- reading.repeat: the first two readings of a visit, beside each other
-- grain   pair of readings
-- inputs  reading.accepted, visitor_reading; $same_visit_hours; $is_whole: no visitor has rows yet
-- keys    reading_id unique
-- rule    Pairs of a reading and the next within $same_visit_hours of it that are not set aside, adults; a reading is in
--         one pair only. Whole thousandths, so that sums are exact.
-- reruns  rewrites the pairs of the visitors, and drops those of readings that are gone; twice is the same as once
delete from reading.repeat
where not $is_whole and (
    reading_id in (select reading_id from visitor_reading)
    or reading_id in (
        select repeat.reading_id
        from reading.repeat as repeat
        anti join reading.accepted as accepted on accepted.reading_id = repeat.reading_id
    )
);

insert into reading.repeat (
    reading_id, weight, next_weight, body_fat_percent, next_body_fat_percent, fat_mass, next_fat_mass, fat_free_mass,
    next_fat_free_mass
)
with
counted as (
    select
        number, accepted.reading_id, accepted.measured_at, round(1000 * weight_kg)::integer as weight,
        round(1000 * fat_percent(body_fat_percent, fat_mass_kg, fat_free_mass_kg, weight_kg))::integer as body_fat_percent,
        round(1000 * fat_kg(fat_mass_kg, fat_free_mass_kg, body_fat_percent, weight_kg))::integer as fat_mass,
        round(1000 * fat_free_kg(fat_free_mass_kg, fat_mass_kg, body_fat_percent, weight_kg))::integer as fat_free_mass
    from visitor_reading
    join reading.accepted as accepted on accepted.reading_id = visitor_reading.reading_id
    where not is_set_aside and age >= 20
        -- nobody else has two readings so near
        and number in (select number from visitor_reading where is_repeated or not (is_counted or is_set_aside))
)
select
    reading_id, weight, lead(weight) over later, body_fat_percent, lead(body_fat_percent) over later,
    fat_mass, lead(fat_mass) over later, fat_free_mass, lead(fat_free_mass) over later
from counted
window later as (partition by number order by measured_at, reading_id)
qualify date_diff('second', measured_at, lead(measured_at) over later) <= 3600 * $same_visit_hours
    and not coalesce(date_diff('second', lag(measured_at) over later, measured_at) <= 3600 * $same_visit_hours, false);
