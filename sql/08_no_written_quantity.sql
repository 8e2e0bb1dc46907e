-- written_quantity (temporary): text with its own unit, for profiles that say there is none
-- grain   line of a file
-- inputs  none
-- keys    (file, line) unique, not null
-- rule    empty; 09_written_quantity.sql makes the other kind
-- reruns  made anew for every way of writing in a pass
create or replace temp table written_quantity (
    file                 integer not null,
    line                 bigint not null,
    height_cm            double,
    weight_kg            double,
    clothing_weight_kg   double,
    fat_mass_kg          double,
    fat_free_mass_kg     double,
    muscle_mass_kg       double,
    total_body_water_kg  double,
    bone_mineral_mass_kg double
);
