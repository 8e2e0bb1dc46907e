-- reading.accepted, ledger.file: a programme's readings invented straight into the store, for benchmarks of what follows
-- grain   reading
-- inputs  even_site (lent: number from 0, site); $people; $quarters; $is_late: the last hundredth in time, or the rest
-- rule    Both sexes, all ages and all quarters at every site, two analysers each. People come up to eight times, one
--         visit in twenty with a second reading minutes later. Everything follows from the person's number by hash(), so
--         that both parts are of the same readings. Plausible bodies and nothing more: tests of figures use
--         synthetic_cohort.
-- hashed twice: hash() of a number and a word alone is far from independent of the number's others
create or replace temp macro share(key, what) as ((hash(hash(key, what)) >> 11)::double / 9007199254740992);
create or replace temp macro normal(key, what) as
    sqrt(-2 * ln(share(key, what || 'r') + 1e-12)) * cos(2 * pi() * share(key, what || 'a'));
create or replace temp macro within(low, value, high) as greatest(low, least(high, value));

create or replace temp table invented_person as
select
    people.number, md5(people.number::varchar) as participant, even_site.site, even_site.number as site_number,
    case when share(people.number, 'sex') < 0.5 then 'male' else 'female' end as sex,
    5 + 88 * share(people.number, 'age') as age_at_start,
    floor($quarters * 85 * pow(share(people.number, 'entry'), 1.2)) as entry_day,
    30 + floor(60 * share(people.number, 'gap')) as gap,
    least(8, 1 + floor(ln(share(people.number, 'visits') + 1e-12) / ln(0.7)))::integer as visits,
    normal(people.number, 'height') as tall,
    normal(people.number, 'bmi') + 0.3 * normal(even_site.number, 'site') as heavy,
    normal(people.number, 'fat') as fat,
    -0.03 + 0.05 * normal(people.number, 'response') + 0.02 * normal(even_site.number, 'effect') as kg_a_week
from range($people) as people (number)
join even_site on even_site.number = people.number % (select count(*) from even_site);

create or replace temp table invented_visit as
select
    invented_person.*, visit * 2 + is_repeat as nth,
    entry_day + visit * gap + floor(14 * share(number * 8 + visit, 'day')) as day,
    570 + floor(630 * share(number * 8 + visit, 'minute')) + 4 * is_repeat as minute
from invented_person
cross join range(8) as visits_made (visit)
cross join range(2) as repeats (is_repeat)
where visit < visits
    and (is_repeat = 0 or share(number * 8 + visit, 'repeat') < 0.05)
    and entry_day + visit * gap + 14 < $quarters * 91;

create or replace temp table invented_reading as
with
aged as (
    select
        *, timestamp '2024-01-01' + to_days(day::integer) + to_minutes(minute::integer) as measured_at,
        age_at_start + day / 365.25 as years, number * 16 + nth as reading
    from invented_visit
),
sized as (
    select
        *,
        round(
            case when sex = 'male' then 177 + 7 * tall else 164 + 6.5 * tall end
            * (0.62 + 0.38 * least(1, greatest(0, years - 5) / 15)), 0) as height_cm,
        case when years < 20 then 15.5 + (years - 5) * 0.45 else 22.3 + 4 * least(1, (years - 20) / 30) end
            * exp(0.15 * within(-2.2, heavy, 2.4)) as bmi
    from aged
),
weighed as (
    select
        *,
        round(bmi * height_cm * height_cm / 10000
            + case when years < 20 then 0 else kg_a_week * (day - entry_day) / 7 end
            + 0.45 * normal(number * 8 + nth // 2, 'noise') + 0.05 * normal(reading, 'noise'), 1) as weight_kg
    from sized
),
composed as (
    select
        *,
        round(within(
            5, 1.2 * weight_kg * 10000 / (height_cm * height_cm) + 0.12 * years - 5.4
            - case when sex = 'male' then 10.8 else 0 end + 2.5 * fat + 0.6 * normal(reading, 'fat'), 58), 1) as fat_percent
    from weighed
),
numbered as (
    select *, (year(measured_at) - 2024) * 4 + quarter(measured_at) as quarter_number from composed
)
select
    numbered.* exclude (fat), weight_kg * fat_percent / 100 as fat, weight_kg * (100 - fat_percent) / 100 as lean,
    case when $is_late then $quarters else quarter_number - 1 end * (select count(*) from even_site) + site_number + 1
        as file_id
from numbered
where (measured_at > (select quantile_disc(measured_at, 0.99) from numbered)) = $is_late;

drop table invented_visit;
drop table invented_person;

insert into reading.accepted (
    reading_id, file_id, line, site, participant, measured_on, measured_at, period, sex, age, height_cm, weight_kg,
    clothing_weight_kg, is_athlete_mode, device, body_fat_percent, fat_mass_kg, fat_free_mass_kg, muscle_mass_kg,
    total_body_water_kg, total_body_water_percent, bone_mineral_mass_kg, basal_metabolic_rate_kcal_d, metabolic_age_a,
    visceral_fat_level, flags
)
select
    file_id * 1000000000 + line, file_id, line, site, participant, measured_at::date, measured_at,
    year(measured_at) || 'Q' || quarter(measured_at), sex, floor(years)::smallint, height_cm, weight_kg,
    1.0, false, case when share(reading, 'device') < 0.5 then 'A' else 'B' end, fat_percent, round(fat, 1),
    round(lean, 1), round(0.95 * lean, 1), round((0.732 + 0.01 * normal(reading, 'water')) * lean, 1),
    round((0.732 + 0.01 * normal(reading, 'water')) * lean / weight_kg * 100, 1), round(0.05 * lean, 1),
    round(370 + 21.6 * lean), round(within(12, years + 8 * normal(reading, 'metabolic'), 90)),
    round(within(1, fat / 2.5 + normal(reading, 'visceral'), 59)),
    case when share(reading, 'flag') < 0.02 then ['athlete_mode_missing'] else [] end
from (
    select *, 1 + row_number() over (partition by file_id order by measured_at, reading) as line from invented_reading
)
order by file_id, line;

drop table invented_reading;

insert into ledger.file (
    file_id, run_id, site, name, sha256, bytes, received_at, state, format, rows_read, rows_accepted,
    has_row_account, kept_sha256
)
select
    file_id, 1, site, file_id || '.csv', md5(file_id::varchar), count(*) * 100, timestamp '2026-01-15 03:00:00', 'accepted',
    'csv', count(*), count(*), true, md5(file_id::varchar)
from reading.accepted
where file_id not in (select file_id from ledger.file)
group by file_id, site
order by file_id;
