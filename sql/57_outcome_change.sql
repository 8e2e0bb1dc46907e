create or replace temp table outcome_change as
with
entry as (
    select * from outcome_visit where visit = 1
),
least_change as (
    select
        max(least) filter (where measure = 'weight') as weight,
        max(least) filter (where measure = 'body_fat_percent') as fat
    from reliable_change
),
pair as (
    select
        seen.person, seen.months, seen.visit, seen.class, entry.is_male as entry_is_male, entry.age as entry_age, entry.age_months as entry_age_months, later.is_male, later.age, later.age_months,
        entry.weight_kg as entry_weight_kg, later.weight_kg,
        bmi_kg_m2(entry.weight_kg, entry.height_cm) as entry_bmi_kg_m2,
        bmi_kg_m2(later.weight_kg, later.height_cm) as bmi_kg_m2,
        later.weight_kg - entry.weight_kg as weight_change,
        later.fat_mass_kg - entry.fat_mass_kg as fat_mass_change,
        later.fat_free_mass_kg - entry.fat_free_mass_kg as fat_free_mass_change,
        later.body_fat_percent - entry.body_fat_percent as body_fat_percent_change,
        later.analyser, entry.analyser as entry_analyser,
        cos(2 * pi() * dayofyear(later.measured_on) / 365.25) - cos(2 * pi() * dayofyear(entry.measured_on) / 365.25)
            as season_cos,
        sin(2 * pi() * dayofyear(later.measured_on) / 365.25) - sin(2 * pi() * dayofyear(entry.measured_on) / 365.25)
            as season_sin
    from outcome_follow_up as seen
    join entry on entry.person = seen.person
    join outcome_visit as later on later.person = seen.person and later.visit = seen.visit
    where seen.is_seen
),
child as (
    select
        pair.*,
        who_z(entry_bmi_kg_m2, entry_who.l, entry_who.m, entry_who.s) as entry_bmi_z,
        who_z(bmi_kg_m2, later_who.l, later_who.m, later_who.s) as bmi_z
    from pair
    left join reference.who_bmi_for_age as entry_who
        on (entry_who.sex = 'male') = entry_is_male and entry_who.month = case when entry_age between 5 and 19 then who_month(entry_age, entry_age_months) end
    left join reference.who_bmi_for_age as later_who
        on (later_who.sex = 'male') = is_male and later_who.month = case when entry_age < 20 and age between 5 and 19 then who_month(age, age_months) end
)
select
    person, months, visit, class, entry_bmi_kg_m2, bmi_kg_m2, entry_bmi_z, bmi_z,
    round(1000 * weight_change)::integer as weight_change,
    round(1000 * (100 * weight_change / entry_weight_kg))::integer as weight_change_percent,
    round(1000 * fat_mass_change)::integer as fat_mass_change,
    round(1000 * fat_free_mass_change)::integer as fat_free_mass_change,
    round(1000 * body_fat_percent_change)::integer as body_fat_percent_change,
    case when age < 20 then round(1000 * (bmi_z - entry_bmi_z))::integer end as bmi_z_change,
    round(1000 * (weight_change - (later_analyser.difference - earlier_analyser.difference)))::integer as weight_change_levelled,
    20 * (round(entry_weight_kg * 1e10)::bigint - round(weight_kg * 1e10)::bigint)
        >= round(entry_weight_kg * 1e10)::bigint as lost_5_percent,
    coalesce(earlier_analyser.has_signal, false) or coalesce(later_analyser.has_signal, false) as is_doubtful,
    case when weight_change < -least_change.weight then 'fell' when weight_change > least_change.weight then 'rose' when least_change.weight is not null then 'same' end::enum('fell', 'same', 'rose') as weight_way,
    case when body_fat_percent_change < -least_change.fat then 'fell' when body_fat_percent_change > least_change.fat then 'rose'
        when body_fat_percent_change + least_change.fat is not null then 'same' end::enum('fell', 'same', 'rose') as fat_way,
    round(1000 * season_cos)::integer as season_cos, round(1000 * season_sin)::integer as season_sin
from child
cross join least_change
left join outcome_analyser as earlier_analyser on earlier_analyser.analyser = entry_analyser
left join outcome_analyser as later_analyser on later_analyser.analyser = child.analyser;
