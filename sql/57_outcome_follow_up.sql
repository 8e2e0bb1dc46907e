-- outcome_follow_up (temporary): what became of each person at each follow-up
-- grain   person × months
-- inputs  reading.visit, follow_up_window, outcome_site
-- keys    (person, months) unique; no row for the entry alone
-- rule    The reading nearest to the follow-up's day and within its tolerance; of two as near, the earlier.
--         status, the first that holds; here its number in this order, because texts are slow:
--           not_due         the window closes after the last reading of the whole programme
--           site_silent     … after the last reading that the site of entry sent
--           seen            a reading that counts, at the site of entry
--           seen_elsewhere  … at another site: pseudonyms are followed where numbers are the programme's
--           not_counted     a reading in the window, but it is set aside
--           missed          none in the window, one later
--           gone            none in the window or later
--         Who withdrew has no rows at all, here or anywhere. visit: of the reading in the window; null where there is none.
--         entry_…: BMI and weight at entry in thousandths of kg/m² and kg, height squared in millionths of m².
-- reruns  replaced whole
create or replace temp table outcome_follow_up as
with
programme as (
    select max(last_day) as last_day from outcome_site
),
entry as (
    select
        person, site_number, measured_on, period, class, round(1000 * weight_kg)::integer as entry_weight,
        round(1000 * bmi_kg_m2(weight_kg, height_cm))::integer as entry_bmi,
        round(100 * height_cm * height_cm)::integer as entry_height_squared
    from reading.visit
    where visit = 1
),
-- days apart, visit and site in one number. Windows do not overlap: a visit stands for one follow-up at most
chosen as (
    select person, months, min((abs(days - day)::bigint * 4294967296 + visit) * 2 + is_elsewhere::integer) as nearest
    from reading.visit
    join follow_up_window on days between day - tolerance_days and day + tolerance_days
    where visit > 1
    group by person, months
),
last_visit as (
    select person, max(days) as days from reading.visit where visit > 1 group by person
),
doubted as (
    select distinct person, months
    from reading.visit
    join follow_up_window on days between day - tolerance_days and day + tolerance_days
    where visit is null
)
select
    entry.person, window_of.months, entry.class, entry.period as entry_period,
    case
        when closes_on > programme.last_day then 1
        when closes_on > outcome_site.last_day then 2
        when nearest % 2 = 0 then 3
        when nearest % 2 = 1 then 4
        when doubted.person is not null then 5
        when last_visit.days > day + tolerance_days then 6
        else 7
    end::tinyint as status,
    status > 2 as is_due, status in (3, 4) as is_seen,
    (nearest // 2 % 4294967296)::integer as visit, entry_bmi, entry_weight, entry_height_squared
from entry
cross join follow_up_window as window_of
cross join lateral (select entry.measured_on + day + tolerance_days as closes_on)
cross join programme
join outcome_site on outcome_site.site_number = entry.site_number
left join last_visit on last_visit.person = entry.person
left join chosen on chosen.person = entry.person and chosen.months = window_of.months
left join doubted on doubted.person = entry.person and doubted.months = window_of.months;
