-- tally.band_of_ages: how many people stand in each band of each banding, by site, over ages that are counted together
-- grain   site × period × sex × age_from × banding × band
-- inputs  tally.band; age_together (lent by pipeline/results/trend.py: banding, age, age_from); $periods: those of which
--         people changed, null for all
-- keys    the grain is unique
-- rule    Trends read every period: a fifth of the rows, of which a night writes those of its periods.
-- reruns  rewrites only the periods given; twice is the same as once
delete from tally.band_of_ages where $periods is null or list_contains($periods, period);

insert into tally.band_of_ages (site, period, sex, age_from, banding, band, n)
select band.site, band.period, band.sex, age_together.age_from, band.banding, band.band, sum(band.n)::bigint
from tally.band as band
join age_together on age_together.banding = band.banding and age_together.age = band.age
where $periods is null or list_contains($periods, band.period)
group by all;
