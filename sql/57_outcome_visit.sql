-- outcome_visit (temporary): a person's visits in the programme, the first of them being the entry
-- grain   participant × visit
-- inputs  reading.accepted, reading.set_aside, reference.who_bmi_for_age, site_start; $same_visit_hours
-- keys    (participant, visit) unique
-- rule    Readings that are not set aside, from the day on which the programme began at their site (site_start;
--         null: from its first reading). A reading no more than $same_visit_hours after the one before belongs to
--         the same visit, and the first reading of a visit stands for it; ties by reading_id.
--         days counts from the entry. last_day is the last day on which the site of entry sent a reading.
-- reruns  replaced whole
create or replace temp table outcome_visit as
with
-- who came when: few columns, since they are sorted by person
counted as (
    select
        reading_id, participant, measured_at,
        lag(measured_at) over (partition by participant order by measured_at, reading_id) as earlier_at
    from reading.accepted as accepted
    join site_start on site_start.site = accepted.site
    where reading_id not in (select reading_id from reading.set_aside)
        and (site_start.started is null or accepted.measured_on >= site_start.started)
),
begun as (
    select reading_id, row_number() over (partition by participant order by measured_at, reading_id) as visit
    from counted
    where earlier_at is null or date_diff('second', earlier_at, measured_at) > 3600 * $same_visit_hours
),
visit as (
    select
        participant, accepted.reading_id, measured_at, measured_on, site, device, period, sex, age, age_months,
        height_cm, weight_kg,
        fat_percent(body_fat_percent, fat_mass_kg, fat_free_mass_kg, weight_kg) as body_fat_percent,
        fat_kg(fat_mass_kg, fat_free_mass_kg, body_fat_percent, weight_kg) as fat_mass_kg,
        fat_free_kg(fat_free_mass_kg, fat_mass_kg, body_fat_percent, weight_kg) as fat_free_mass_kg,
        bmi_kg_m2(weight_kg, height_cm) as bmi_kg_m2,
        begun.visit
    from reading.accepted as accepted
    join begun on begun.reading_id = accepted.reading_id
),
last_of_site as (
    select site, max(measured_on) as last_day from reading.accepted group by site
)
select
    visit.participant, visit.visit, visit.reading_id, visit.measured_at, visit.measured_on,
    date_diff('day', entry.measured_on, visit.measured_on) as days,
    visit.site, visit.device, visit.period, visit.age, visit.height_cm, visit.weight_kg, visit.body_fat_percent,
    visit.fat_mass_kg, visit.fat_free_mass_kg, visit.bmi_kg_m2,
    who_z(visit.bmi_kg_m2, who.l, who.m, who.s) as bmi_z,
    entry.site as entry_site, entry.measured_on as entry_on, entry.period as entry_period, entry.sex,
    entry.age as entry_age, entry.weight_kg as entry_weight_kg, entry.bmi_kg_m2 as entry_bmi_kg_m2,
    last_of_site.last_day
from visit
join visit as entry on entry.participant = visit.participant and entry.visit = 1
join last_of_site on last_of_site.site = entry.site
left join reference.who_bmi_for_age as who
    on visit.age between 5 and 19
    and who.sex = visit.sex
    and who.month = who_month(visit.age, visit.age_months);
