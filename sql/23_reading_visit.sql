-- reading.visit: a person's visits in the programme, the first of them being the entry
-- grain   person × visit; a reading that is set aside
-- inputs  reading.accepted, visitor_reading, site_start; $same_visit_hours, $patience_days, $most_days; $is_whole: no
--         visitor has rows yet
-- keys    (person, visit) unique where visit is not null
-- rule    Readings that are not set aside, from the day on which the programme began at their site. A reading no more than
--         $same_visit_hours after the one before belongs to the same visit, and the first reading of a visit stands for it;
--         ties by reading_id. days counts from the entry. Readings of the person that are set aside have a row without a
--         number. Somebody without a visit has no row.
--         stratum, came_again: adults at entry; the class by which their chance of another visit is reckoned, and whether
--         one followed within $patience_days.
--         off_…: how far the visit lies off the straight line between those before and after it, of adults at entry, the
--         outer ones at most $most_days apart; see 57_outcome_wobble.sql. Visits that lack a composition are no neighbours
--         of one that has it; a composition has all three of its figures or none, because each follows from any
--         other and the weight.
-- reruns  rewrites the visitors' rows, and drops those of entries that are gone; twice is the same as once. The order of
--         rows is not promised.
delete from reading.visit
where not $is_whole and (
    person in (select reading_id from visitor_reading)
    or person in (
        select entry.person
        from reading.visit as entry
        anti join reading.accepted as accepted on accepted.reading_id = entry.person
        where entry.visit = 1
    )
);

insert into reading.visit (
    person, visit, measured_on, days, site_number, is_elsewhere, device, period, sex, age, age_months, height_cm, weight_kg,
    body_fat_percent, fat_mass_kg, fat_free_mass_kg, class, stratum, came_again,
    off_weight, off_percent, off_fat, off_fat_free
)
with
counted as (
    select
        number, accepted.reading_id, accepted.measured_at, measured_on, site_number, device, period,
        sex = 'male' as is_male, age, age_months, height_cm, weight_kg,
        fat_percent(body_fat_percent, fat_mass_kg, fat_free_mass_kg, weight_kg) as body_fat_percent,
        fat_kg(fat_mass_kg, fat_free_mass_kg, body_fat_percent, weight_kg) as fat_mass_kg,
        fat_free_kg(fat_free_mass_kg, fat_mass_kg, body_fat_percent, weight_kg) as fat_free_mass_kg,
        class_of(site_number, sex, age, bmi_kg_m2(weight_kg, height_cm)) as class
    from visitor_reading
    join reading.accepted as accepted on accepted.reading_id = visitor_reading.reading_id
    join site_start on site_start.site = accepted.site
    where is_counted and not is_repeated
),
visit as (
    select
        * exclude (class), row_number() over way as visit,
        first_value(reading_id) over way as person, first_value(class) over way as class,
        first_value(site_number) over way as entry_site_number,
        first_value(measured_on) over way as entry_on, first_value(weight_kg) over way as entry_weight_kg,
        lag(measured_on) over way as before_on, lead(measured_on) over way as after_on,
        lag(weight_kg) over way as weight_before, lead(weight_kg) over way as weight_after,
        lag(case when body_fat_percent is not null then measured_on end ignore nulls) over way as whole_before_on,
        lead(case when body_fat_percent is not null then measured_on end ignore nulls) over way as whole_after_on,
        lag(body_fat_percent ignore nulls) over way as percent_before,
        lead(body_fat_percent ignore nulls) over way as percent_after,
        lag(fat_mass_kg ignore nulls) over way as fat_before, lead(fat_mass_kg ignore nulls) over way as fat_after,
        lag(fat_free_mass_kg ignore nulls) over way as fat_free_before,
        lead(fat_free_mass_kg ignore nulls) over way as fat_free_after
    from counted
    window way as (partition by number order by measured_at, reading_id)
),
between_two as (
    select
        *,
        case when is_adult(class) then share_of_time(before_on, measured_on, after_on, $most_days) end as f,
        case when is_adult(class) then share_of_time(whole_before_on, measured_on, whole_after_on, $most_days) end
            as whole_f
    from visit
)
select
    person, visit, measured_on, measured_on - entry_on as days,
    site_number, site_number <> entry_site_number as is_elsewhere, device, period,
    case when is_male then 'male' else 'female' end as sex, age, age_months, height_cm, weight_kg,
    body_fat_percent, fat_mass_kg, fat_free_mass_kg, class,
    case when is_adult(class) then stratum_of(class, visit, weight_kg, entry_weight_kg) end as stratum,
    case when is_adult(class) then coalesce(after_on - measured_on <= $patience_days, false) end as came_again,
    off_line(weight_kg, weight_before, weight_after, f) as off_weight,
    off_line(body_fat_percent, percent_before, percent_after, whole_f) as off_percent,
    off_line(fat_mass_kg, fat_before, fat_after, whole_f) as off_fat,
    off_line(fat_free_mass_kg, fat_free_before, fat_free_after, whole_f) as off_fat_free
from between_two;

insert into reading.visit (
    person, measured_on, days, site_number, is_elsewhere, device, period, sex, age, age_months, height_cm, weight_kg, class
)
select
    entry.person, accepted.measured_on, accepted.measured_on - entry.measured_on, site_start.site_number,
    site_start.site_number <> entry.site_number, accepted.device, accepted.period, accepted.sex, accepted.age,
    accepted.age_months, accepted.height_cm, accepted.weight_kg, entry.class
from visitor_reading as doubted
join visitor_reading as entering on entering.number = doubted.number
join reading.visit as entry on entry.person = entering.reading_id and entry.visit = 1
join reading.accepted as accepted on accepted.reading_id = doubted.reading_id
join site_start on site_start.site = accepted.site
where doubted.is_set_aside;
