-- tally.band_of_ages: how many people stand in each band of each banding, by site and age group
-- grain   site × period × sex × age group × banding × band
-- inputs  tally.band, touched_period, reference.age_group; registered_banding (lent by pipeline/tallies.py): banding, age_from
-- keys    (site, period, sex, age_from, banding, band) unique, none null
-- rule    tally.band in an eighth of its rows, for results that tell no single years: several read it, and trends read
--         every period. age_from is the first year of the age group, or of the banding where that begins inside the group.
--         Totals of age groups are made of their groups. Someone whose age is in no group is nowhere in it.
-- reruns  rewrites only the touched periods; twice is the same as once
delete from tally.band_of_ages where period in (select period from touched_period);

insert into tally.band_of_ages (site, period, sex, age_from, banding, band, n)
select
    band.site, band.period, band.sex, greatest(age_group.age_from, registered_banding.age_from) as age_from,
    band.banding, band.band, sum(band.n)::bigint
from tally.band as band
join registered_banding on registered_banding.banding = band.banding
join reference.age_group as age_group on band.age between age_group.age_from and age_group.age_to
where not age_group.is_total and band.period in (select period from touched_period)
group by all;
