-- written_quantity (temporary): text with its own unit, for a profile that says there is none
-- grain   line of the file
-- inputs  none
-- keys    line unique, not null
-- rule    empty; 09_written_quantity.sql makes the other kind
-- reruns  made anew for every file
create or replace temp table written_quantity (
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
