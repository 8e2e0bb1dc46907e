-- written_quantity (temporary): text with its own unit, such as 5 ft 9 in, 165cm, 11 st 4 lb
-- grain   line of a file
-- inputs  received, file_of_pass; $way, as in 10_normalised.sql; <field>_is_written: the profile says that this
--         field carries its own unit
-- keys    (file, line) unique, not null
-- rule    canonical units, exact factors; null for text that is not certain. A plain number is none of these: it is
--         in the profile's unit and is read in 10_normalised.sql.
-- reruns  made anew for every way of writing in a pass
create or replace temp table written_quantity as
select
    file, line,
    case when $height_is_written then written_length_cm(tidied_written(height)) end
        as height_cm,
    case when $weight_is_written then written_mass_kg(tidied_written(weight)) end
        as weight_kg,
    case when $clothing_weight_is_written then written_mass_kg(tidied_written(clothing_weight)) end
        as clothing_weight_kg,
    case when $fat_mass_is_written then written_mass_kg(tidied_written(fat_mass)) end
        as fat_mass_kg,
    case when $fat_free_mass_is_written then written_mass_kg(tidied_written(fat_free_mass)) end
        as fat_free_mass_kg,
    case when $muscle_mass_is_written then written_mass_kg(tidied_written(muscle_mass)) end
        as muscle_mass_kg,
    case when $total_body_water_is_written then written_mass_kg(tidied_written(total_body_water)) end
        as total_body_water_kg,
    case when $bone_mineral_mass_is_written then written_mass_kg(tidied_written(bone_mineral_mass)) end
        as bone_mineral_mass_kg
from received
semi join (select file from file_of_pass where way = $way) using (file);
