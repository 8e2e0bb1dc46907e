-- tally.band: how many people stand in each band of each banding, by site
-- grain   site × period × sex × age × banding × band
-- inputs  counted_anew, changed_person, touched_period
-- keys    (site, period, sex, age, banding, band) unique, none null
-- rule    Someone without the measure is in no band of it and not in its denominator. A band with nobody has no row.
--         A period that is not counted anew has what it had, changed by what changes.
-- reruns  rewrites only the touched periods; twice is the same as once
delete from tally.band where period in (select period from touched_period where is_whole);

insert into tally.band (site, period, sex, age, banding, band, n)
select site, period, sex, age, banding, band, n from people_by_band('counted_anew');

create or replace temp table band_change as from people_by_band('changed_person');

merge into tally.band as band
using band_change as change
on change.site = band.site and change.period = band.period and change.sex = band.sex and change.age = band.age
    and change.banding = band.banding and change.band = band.band
when matched and band.n + change.n = 0 then delete
when matched then update set n = band.n + change.n
when not matched then insert by name;

drop table band_change;
