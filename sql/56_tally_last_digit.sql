-- tally.last_digit: how many readings end in each digit, in the unit in which they were read
-- grain   site × period × measure × digit; period null for heights over all periods
-- inputs  reading.accepted, file_here, tally.file_in_last_digit; printed_step (lent by
--         pipeline/results/instrument_check.py): site, weight, height: how many printed steps make one canonical unit, null
--         where that does not count in tens; $first_site, $last_site: of these and the sites between them by name
-- keys    the grain is unique
-- rule    Every weight counts; a height counts once a person, site and period (or once altogether), by the first line of
--         the first file: an adult's height is the same each time, and would count its digit again.
--         The readings of new files are added, where the person's height was not counted before.
-- reruns  twice is the same as once
create or replace temp table new_file as
select file_id, site, n
from file_here anti join tally.file_in_last_digit using (file_id)
where site between $first_site and $last_site;

create or replace temp view new_reading as
select
    reading.reading_id, reading.site, reading.period, reading.participant,
    (round(reading.weight_kg * printed_step.weight)::bigint % 10)::tinyint as weight,
    (round(reading.height_cm * printed_step.height)::bigint % 10)::tinyint as height
from reading.accepted as reading
join printed_step on printed_step.site = reading.site
where reading.file_id in (select file_id from new_file);

-- whose height was counted before, at which site and in which periods
create or replace temp table height_known as
select distinct reading.site, reading.participant, reading.period
from reading.accepted as reading
where reading.file_id in (
        select file_id from tally.file_in_last_digit where site between $first_site and $last_site
    )
    and reading.participant in (select participant from new_reading);

create or replace temp table digit_here as
with
first_height as (
    select site, null as period, arg_min(height, reading_id) as digit
    from new_reading anti join height_known using (site, participant)
    where height is not null
    group by site, participant
    union all
    select site, period, arg_min(height, reading_id)
    from new_reading anti join height_known using (site, participant, period)
    where height is not null
    group by site, participant, period
)
select site, period, measure, digit, n from tally.last_digit where site between $first_site and $last_site
union all
select site, period, 'weight', weight, count(*) from new_reading where weight is not null group by all
union all
select site, period, 'height', digit, count(*) from first_height group by all;

delete from tally.last_digit where site between $first_site and $last_site;

insert into tally.last_digit (site, period, measure, digit, n)
select site, period, measure, digit, sum(n)::bigint from digit_here group by all;

insert into tally.file_in_last_digit (file_id, site, n)
select file_id, site, n from new_file;

drop view new_reading;
drop table new_file;
drop table height_known;
drop table digit_here;
