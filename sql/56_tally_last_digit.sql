-- tally.last_digit: how many readings end in each digit, in the unit in which they were read
-- grain   site × period × measure × digit; period null for heights over all periods
-- inputs  reading.accepted, tally.file_in_last_digit; printed_step (lent by pipeline/results/instrument_check.py): site,
--         weight, height: how many printed steps make one canonical unit, null where that does not count in tens
-- keys    the grain is unique
-- rule    Every weight counts; a height counts once a person, site and period (or once altogether), by the first line of
--         the first file: an adult's height is the same each time, and would count its digit again.
--         The readings of new files are added, where the person's height was not counted before. A site of which a
--         counted reading left, or an older file came late, is counted anew: another height may be the first.
-- reruns  twice is the same as once
create or replace temp table file_here as
select file_id, any_value(site) as site, count(*) as n from reading.accepted group by file_id;

create or replace temp table site_anew as
select site
from (
    select coalesce(file_here.site, counted.site) as site, file_id, counted.n as counted, file_here.n as here
    from file_here full join tally.file_in_last_digit as counted using (file_id)
)
group by site
having bool_or(counted <> coalesce(here, 0))
    or min(file_id) filter (where counted is null) < max(file_id) filter (where counted is not null);

delete from tally.last_digit where site in (select site from site_anew);
delete from tally.file_in_last_digit where site in (select site from site_anew);

create or replace temp view new_reading as
select
    reading.reading_id, reading.site, reading.period, reading.participant,
    (round(reading.weight_kg * printed_step.weight)::bigint % 10)::tinyint as weight,
    (round(reading.height_cm * printed_step.height)::bigint % 10)::tinyint as height
from reading.accepted as reading
join printed_step on printed_step.site = reading.site
where reading.file_id in (
    select file_id from file_here anti join tally.file_in_last_digit using (file_id)
);

-- whose height was counted before, at which site and in which periods
create or replace temp table height_known as
select distinct reading.site, reading.participant, reading.period
from reading.accepted as reading
where reading.participant in (select participant from new_reading)
    and reading.file_id in (select file_id from tally.file_in_last_digit);

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
select site, period, measure, digit, n from tally.last_digit
union all
select site, period, 'weight', weight, count(*) from new_reading where weight is not null group by all
union all
select site, period, 'height', digit, count(*) from first_height group by all;

delete from tally.last_digit;

insert into tally.last_digit (site, period, measure, digit, n)
select site, period, measure, digit, sum(n)::bigint from digit_here group by all;

insert into tally.file_in_last_digit (file_id, site, n)
select file_id, site, n from file_here anti join tally.file_in_last_digit using (file_id);

drop table file_here;
drop table site_anew;
drop view new_reading;
drop table height_known;
drop table digit_here;
