-- outcome_follow_up (temporary): what became of each person at each follow-up
-- grain   participant × months
-- inputs  outcome_visit, follow_up_window, reading.accepted, reading.set_aside, result.device
-- keys    (participant, months) unique; no row for the entry alone
-- rule    The reading nearest to the follow-up's day and within its tolerance; of two as near, the earlier.
--         status, the first that holds:
--           not_due         the window closes after the last reading of the whole programme
--           site_silent     … after the last reading that the site of entry sent
--           seen            a reading that counts, at the site of entry
--           seen_elsewhere  … at another site: pseudonyms are followed where numbers are the programme's
--           not_counted     a reading in the window, but it is set aside
--           missed          none in the window, one later
--           gone            none in the window or later
--         Who withdrew has no rows at all, here or anywhere. A change is null where a reading lacks the measure.
--         lost_5_percent is decided exactly, in whole units of 1e-10 kg (no conversion needs a finer one):
--         80.0 → 76.0 kg counts. is_doubtful: either reading is from an analyser and period with a signal in
--         result.device. analyser_kg: by how much the analysers' differences changed between the readings; null for
--         sites that name fewer than two analysers, where drift cannot be told from people's change.
--         season: cosine and sine of the day of the year, less those of the entry.
-- reruns  replaced whole
create or replace temp table outcome_follow_up as
with
programme as (
    select max(measured_on) as last_day from reading.accepted
),
person as (
    select * from outcome_visit where visit = 1
),
due as (
    select
        person.participant, months, day, tolerance_days,
        person.entry_on + (day + tolerance_days)::integer as closes_on, person.last_day
    from person
    cross join follow_up_window
),
chosen as (
    select due.participant, due.months, visit.visit
    from due
    join outcome_visit as visit on visit.participant = due.participant
        and visit.visit > 1
        and abs(visit.days - due.day) <= due.tolerance_days
    qualify row_number() over (
        partition by due.participant, due.months order by abs(visit.days - due.day), visit.visit
    ) = 1
),
-- only people with a reading that does not count
doubted as (
    select distinct due.participant, due.months
    from due
    join person on person.participant = due.participant
    join reading.accepted as accepted on accepted.participant = due.participant
        and abs(date_diff('day', person.entry_on, accepted.measured_on) - due.day) <= due.tolerance_days
    where accepted.reading_id in (select reading_id from reading.set_aside)
),
last_visit as (
    select participant, max(days) as days from outcome_visit group by participant
),
analyser as (
    select
        site, device, period, signal <> '' as has_signal,
        case when count(distinct device) over (partition by site) >= 2 then difference end as difference
    from result.device
    where measure = 'weight'
)
select
    due.participant, due.months, person.entry_site, person.entry_period, person.sex, person.entry_age,
    case when person.entry_age >= 20 then 'adults' else 'children' end as stage,
    person.entry_weight_kg, person.entry_bmi_kg_m2, person.bmi_z as entry_bmi_z,
    later.site as site, later.days, chosen.visit,
    case
        when due.closes_on > programme.last_day then 'not_due'
        when due.closes_on > due.last_day then 'site_silent'
        when later.site = person.entry_site then 'seen'
        when later.site is not null then 'seen_elsewhere'
        when doubted.participant is not null then 'not_counted'
        when last_visit.days > due.day + due.tolerance_days then 'missed'
        else 'gone'
    end as status,
    status not in ('not_due', 'site_silent') as is_due,
    status in ('seen', 'seen_elsewhere') as is_seen,
    later.weight_kg, later.bmi_kg_m2, later.bmi_z, person.height_cm as entry_height_cm,
    later.weight_kg - person.weight_kg as weight_change,
    100 * (later.weight_kg - person.weight_kg) / person.weight_kg as weight_change_percent,
    later.fat_mass_kg - person.fat_mass_kg as fat_mass_change,
    later.fat_free_mass_kg - person.fat_free_mass_kg as fat_free_mass_change,
    later.body_fat_percent - person.body_fat_percent as body_fat_percent_change,
    case when later.age < 20 then later.bmi_z - person.bmi_z end as bmi_z_change,
    20 * (round(person.weight_kg * 1e10)::bigint - round(later.weight_kg * 1e10)::bigint)
        >= round(person.weight_kg * 1e10)::bigint as lost_5_percent,
    coalesce(earlier_analyser.has_signal, false) or coalesce(later_analyser.has_signal, false) as is_doubtful,
    later_analyser.difference - earlier_analyser.difference as analyser_kg,
    cos(2 * pi() * dayofyear(later.measured_on) / 365.25) - cos(2 * pi() * dayofyear(person.measured_on) / 365.25)
        as season_cos,
    sin(2 * pi() * dayofyear(later.measured_on) / 365.25) - sin(2 * pi() * dayofyear(person.measured_on) / 365.25)
        as season_sin
from due
join person on person.participant = due.participant
join last_visit on last_visit.participant = due.participant
cross join programme
left join chosen on chosen.participant = due.participant and chosen.months = due.months
left join outcome_visit as later on later.participant = due.participant and later.visit = chosen.visit
left join doubted on doubted.participant = due.participant and doubted.months = due.months
left join analyser as earlier_analyser on earlier_analyser.site = person.site
    and earlier_analyser.device is not distinct from person.device and earlier_analyser.period = person.period
left join analyser as later_analyser on later_analyser.site = later.site
    and later_analyser.device is not distinct from later.device and later_analyser.period = later.period;
