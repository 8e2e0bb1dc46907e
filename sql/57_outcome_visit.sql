-- outcome_visit (temporary): a person's visits in the programme, the first of them being the entry
-- grain   person × visit
-- inputs  reading.accepted, reading.set_aside, outcome_person, outcome_near, outcome_site, outcome_analyser;
--         $same_visit_hours, $patience_days, $most_days
-- keys    (person, visit) unique
-- rule    Readings that are not set aside, from the day on which the programme began at their site (null: from its first
--         reading). A reading no more than $same_visit_hours after the one before belongs to the same visit, and the
--         first reading of a visit stands for it; ties by reading_id. days counts from the entry.
--         stratum, came_again: adults at entry; the class by which their chance of another visit is reckoned
--         (57_outcome_return.sql takes it apart), and whether one followed within $patience_days.
--         off_…: how far the visit lies off the straight line between those before and after it, adults at entry; see
--         57_outcome_wobble.sql. Visits that lack a composition are no neighbours of one that has it; a composition
--         has all three of its figures or none, because each follows from any other and the weight.
-- reruns  replaced whole
create or replace temp table outcome_visit as
with
since_start as (
    select person, reading_id, measured_at
    from reading.accepted as accepted
    join outcome_site on outcome_site.site = accepted.site
    join outcome_person on outcome_person.participant = accepted.participant
    semi join outcome_near on outcome_near.person = outcome_person.person
    anti join reading.set_aside as set_aside on set_aside.reading_id = accepted.reading_id
    where outcome_site.started is null or measured_on >= outcome_site.started
),
repeated as (
    select reading_id
    from since_start
    qualify date_diff('second', lag(measured_at) over (partition by person order by measured_at, reading_id), measured_at)
        <= 3600 * $same_visit_hours
),
counted as (
    select
        person, accepted.reading_id, measured_at, measured_on, outcome_site.site_number, analyser, accepted.period,
        sex = 'male' as is_male, age, age_months, height_cm, weight_kg,
        fat_percent(body_fat_percent, fat_mass_kg, fat_free_mass_kg, weight_kg) as body_fat_percent,
        fat_kg(fat_mass_kg, fat_free_mass_kg, body_fat_percent, weight_kg) as fat_mass_kg,
        fat_free_kg(fat_free_mass_kg, fat_mass_kg, body_fat_percent, weight_kg) as fat_free_mass_kg,
        class_of(outcome_site.site_number, sex, age, bmi_kg_m2(weight_kg, height_cm)) as class
    from reading.accepted as accepted
    join outcome_site on outcome_site.site = accepted.site
    join outcome_person on outcome_person.participant = accepted.participant
    left join outcome_analyser on outcome_analyser.site_number = outcome_site.site_number
        and outcome_analyser.device is not distinct from accepted.device and outcome_analyser.period = accepted.period
    anti join reading.set_aside as set_aside on set_aside.reading_id = accepted.reading_id
    anti join repeated on repeated.reading_id = accepted.reading_id
    where outcome_site.started is null or measured_on >= outcome_site.started
),
visit as (
    select
        *,
        row_number() over way as visit, first_value(class) over way as entry_class,
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
    window way as (partition by person order by measured_at, reading_id)
),
between_two as (
    select
        *, is_adult(entry_class) as is_of_adult,
        case when is_of_adult then share_of_time(before_on, measured_on, after_on, $most_days) end as f,
        case when is_of_adult then share_of_time(whole_before_on, measured_on, whole_after_on, $most_days) end as whole_f
    from visit
)
select
    person, visit::integer as visit, measured_on, (measured_on - entry_on)::integer as days, site_number, analyser, period, is_male,
    age, age_months, height_cm, weight_kg, body_fat_percent, fat_mass_kg, fat_free_mass_kg,
    entry_class, case when is_of_adult then stratum_of(entry_class, visit, weight_kg, entry_weight_kg) end as stratum,
    coalesce(after_on - measured_on <= $patience_days, false) as came_again,
    off_line(weight_kg, weight_before, weight_after, f) as off_weight,
    off_line(body_fat_percent, percent_before, percent_after, whole_f) as off_percent,
    off_line(fat_mass_kg, fat_before, fat_after, whole_f) as off_fat,
    off_line(fat_free_mass_kg, fat_free_before, fat_free_after, whole_f) as off_fat_free
from between_two;
