-- outcome_change (temporary): how those who were seen changed from entry to a follow-up
-- grain   person × months
-- inputs  outcome_follow_up, reading.visit, outcome_analyser, reliable_change, reference.who_bmi_for_age
-- keys    (person, months) unique
-- rule    Who was due and seen. Figures in whole thousandths of kg, %, or a z-score, so that sums are exact; null where a
--         reading lacks the measure. bmi_z: under 20 at entry, and bmi_z_change under 20 at both readings.
--         weight_change_levelled: less the change of the analysers' differences; null where these are not known.
--         lost_5_percent is decided exactly, in whole units of 1e-10 kg (no conversion needs a finer one):
--         80.0 → 76.0 kg counts. is_doubtful: either reading is from an analyser and period with a signal.
--         weight_way, fat_way: whether weight and body fat percentage fell (-1) or rose (1) by more than the smallest
--         detectable change (reliable_change: measure, least), decided before rounding.
--         season_…: cosine and sine of the day of the year, less those of the entry.
-- reruns  replaced whole
create or replace temp table outcome_change as
with
least_change as (
    select
        max(least) filter (where measure = 'weight') as of_weight,
        max(least) filter (where measure = 'body_fat_percent') as of_fat
    from reliable_change
),
visit as not materialized (
    select
        person, visit, measured_on, site_number, device, period, sex, weight_kg, body_fat_percent, fat_mass_kg,
        fat_free_mass_kg, bmi_kg_m2(weight_kg, height_cm) as bmi_kg_m2,
        case when not is_adult(class) and age between 5 and 19 then who_month(age, age_months) end as month
    from reading.visit
)
select
    seen.person, seen.months, seen.visit, seen.class, entry.bmi_kg_m2 as entry_bmi_kg_m2, later.bmi_kg_m2,
    who_z(entry.bmi_kg_m2, entry_who.l, entry_who.m, entry_who.s) as entry_bmi_z,
    who_z(later.bmi_kg_m2, later_who.l, later_who.m, later_who.s) as bmi_z,
    round(1000 * (later.weight_kg - entry.weight_kg))::integer as weight_change,
    round(1000 * (100 * (later.weight_kg - entry.weight_kg) / entry.weight_kg))::integer as weight_change_percent,
    round(1000 * (later.fat_mass_kg - entry.fat_mass_kg))::integer as fat_mass_change,
    round(1000 * (later.fat_free_mass_kg - entry.fat_free_mass_kg))::integer as fat_free_mass_change,
    round(1000 * (later.body_fat_percent - entry.body_fat_percent))::integer as body_fat_percent_change,
    round(1000 * (bmi_z - entry_bmi_z))::integer as bmi_z_change,
    round(1000 * (later.weight_kg - entry.weight_kg - (later_analyser.difference - entry_analyser.difference)))::integer
        as weight_change_levelled,
    20 * (round(entry.weight_kg * 1e10)::bigint - round(later.weight_kg * 1e10)::bigint)
        >= round(entry.weight_kg * 1e10)::bigint as lost_5_percent,
    coalesce(entry_analyser.has_signal, false) or coalesce(later_analyser.has_signal, false) as is_doubtful,
    way_of(later.weight_kg - entry.weight_kg, of_weight) as weight_way,
    way_of(later.body_fat_percent - entry.body_fat_percent, of_fat) as fat_way,
    round(1000 * (season_cos(later.measured_on) - season_cos(entry.measured_on)))::integer as season_cos,
    round(1000 * (season_sin(later.measured_on) - season_sin(entry.measured_on)))::integer as season_sin
from outcome_follow_up as seen
join visit as entry on entry.person = seen.person and entry.visit = 1
join visit as later on later.person = seen.person and later.visit = seen.visit
left join reference.who_bmi_for_age as entry_who on entry_who.sex = entry.sex and entry_who.month = entry.month
left join reference.who_bmi_for_age as later_who on later_who.sex = later.sex and later_who.month = later.month
left join outcome_analyser as entry_analyser on entry_analyser.site_number = entry.site_number
    and entry_analyser.device is not distinct from entry.device and entry_analyser.period = entry.period
left join outcome_analyser as later_analyser on later_analyser.site_number = later.site_number
    and later_analyser.device is not distinct from later.device and later_analyser.period = later.period
cross join least_change
where seen.is_seen;
