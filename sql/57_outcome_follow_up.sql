create or replace temp table outcome_follow_up as
with
programme as (
    select max(measured_on) as last_day from reading.accepted
),
person as (
    select * from outcome_visit where visit = 1
),
-- the windows do not overlap: a visit stands for one follow-up at most. Nearest first, then the earlier
chosen as (
    select
        person, months,
        min(abs(days - day)::bigint * 4294967296 + visit) as nearest,
        arg_min(site_number, abs(days - day)::bigint * 4294967296 + visit) as site_number
    from outcome_visit
    join follow_up_window on days between day - tolerance_days and day + tolerance_days
    where visit > 1
    group by person, months
),
last_visit as (
    select person, max(days) as days from outcome_visit group by person
),
-- only people with a reading that does not count
doubted as (
    select distinct person.person, months
    from reading.accepted as accepted
    semi join reading.set_aside as set_aside on set_aside.reading_id = accepted.reading_id
    join outcome_person on outcome_person.participant = accepted.participant
    join person on person.person = outcome_person.person
    join follow_up_window
        on accepted.measured_on - person.measured_on between day - tolerance_days and day + tolerance_days
)
select
    person.person, window_of.months, person.entry_class as class, person.period as entry_period,
    case
        when closes_on > programme.last_day then 'not_due'
        when closes_on > outcome_site.last_day then 'site_silent'
        when chosen.site_number = person.site_number then 'seen'
        when chosen.site_number is not null then 'seen_elsewhere'
        when doubted.person is not null then 'not_counted'
        when last_visit.days > day + tolerance_days then 'missed'
        else 'gone'
    end::enum('not_due', 'site_silent', 'seen', 'seen_elsewhere', 'not_counted', 'missed', 'gone') as status,
    status not in ('not_due', 'site_silent') as is_due, status in ('seen', 'seen_elsewhere') as is_seen,
    (chosen.nearest % 4294967296)::integer as visit,
    round(1000 * bmi_kg_m2(person.weight_kg, person.height_cm))::integer as entry_bmi,
    round(1000 * person.weight_kg)::integer as entry_weight,
    round(100 * person.height_cm * person.height_cm)::integer as entry_height_squared
from person
cross join follow_up_window as window_of
cross join lateral (select person.measured_on + day + tolerance_days as closes_on)
cross join programme
join outcome_site on outcome_site.site_number = person.site_number
join last_visit on last_visit.person = person.person
left join chosen on chosen.person = person.person and chosen.months = window_of.months
left join doubted on doubted.person = person.person and doubted.months = window_of.months
