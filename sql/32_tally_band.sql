-- tally.band: how many people stand in each band of each banding, by site
-- grain   site × period × sex × age × banding × band
-- inputs  reading.participant_period, touched_period
-- keys    (site, period, sex, age, banding, band) unique, none null
-- rule    One macro a banding (01_macros_bands.sql), within the banding's ages (pipeline/measures.py, tested).
--         Someone without the measure is in no band of it and not in its denominator. A band with nobody has no row.
-- reruns  rewrites only the touched periods; twice is the same as once
delete from tally.band where period in (select period from touched_period);

insert into tally.band (site, period, sex, age, banding, band, n)
with person as (
    select * from reading.participant_period where period in (select period from touched_period)
)
select site, period, sex, age, 'bmi_adult' as banding, band_bmi_adult(bmi_kg_m2) as band, count(*) as n
    from person where age between 20 and 99 group by all
union all by name
select site, period, sex, age, 'bmi_adult_asian' as banding, band_bmi_adult_asian(bmi_kg_m2) as band, count(*) as n
    from person where age between 20 and 99 group by all
union all by name
select site, period, sex, age, 'bmi_child' as banding, band_bmi_child(bmi_z) as band, count(*) as n
    from person where age between 5 and 19 and bmi_z is not null group by all
union all by name
select site, period, sex, age, 'hydration' as banding, band_hydration(sex, total_body_water_percent) as band,
    count(*) as n
    from person where age between 18 and 99 and total_body_water_percent is not null group by all
union all by name
select site, period, sex, age, 'visceral_fat' as banding, band_visceral_fat(visceral_fat_level) as band, count(*) as n
    from person where age between 18 and 99 and visceral_fat_level is not null group by all
union all by name
select site, period, sex, age, 'body_fat' as banding, band_body_fat(sex, age, body_fat_percent) as band, count(*) as n
    from person where age between 20 and 79 and body_fat_percent is not null group by all
union all by name
select site, period, sex, age, 'fat_lean' as banding,
    band_fat_lean(sex, fat_mass_index_kg_m2, fat_free_mass_index_kg_m2) as band, count(*) as n
    from person
    where age between 18 and 99 and fat_mass_index_kg_m2 is not null and fat_free_mass_index_kg_m2 is not null
    group by all;
