-- the readings behind one prevalence figure, with their files and lines
-- grain   reading
-- inputs  reading.participant_period, reading.accepted, ledger.file; the macros of 01_macros_bands.sql
-- keys    reading_id
-- rule    The same people, ages and macros as 32_tally_band.sql, narrowed to one cell; tested equal to its counts.
--         $site null is all sites, $sex 'all' both.
select person.reading_id, accepted.site, file.name, accepted.line, accepted.measured_on
from reading.participant_period as person
join reading.accepted as accepted on accepted.reading_id = person.reading_id
join ledger.file as file on file.file_id = accepted.file_id
where person.period = $period
    and person.age between $age_from and $age_to
    and ($sex = 'all' or person.sex = $sex)
    and ($site is null or person.site = $site)
    and person.age between $banding_age_from and $banding_age_to
    and $band = case $banding
        when 'bmi_adult' then band_bmi_adult(person.bmi_kg_m2)
        when 'bmi_adult_asian' then band_bmi_adult_asian(person.bmi_kg_m2)
        when 'bmi_child' then band_bmi_child(person.bmi_z)
        when 'hydration' then band_hydration(person.sex, person.total_body_water_percent)
        when 'visceral_fat' then band_visceral_fat(person.visceral_fat_level)
        when 'body_fat' then band_body_fat(person.sex, person.age, person.body_fat_percent)
        when 'fat_lean' then band_fat_lean(person.sex, person.fat_mass_index_kg_m2, person.fat_free_mass_index_kg_m2)
    end
order by accepted.site, file.name, accepted.line
