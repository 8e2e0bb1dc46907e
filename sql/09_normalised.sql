-- normalised (temporary): the rows of a pass in canonical units, empty
-- grain   one row of received
-- inputs  none: 10_normalised.sql fills it, for those files at a time that are written the same way
-- keys    (file, line) unique
-- rule    a field that is absent, or cannot be read for certain, is null
-- reruns  made anew for every pass
create or replace temp table normalised (
    file                        integer not null,
    line                        bigint not null,
    participant                 varchar,
    measured_on                 date,
    measured_at                 timestamp,
    period                      varchar,
    sex                         varchar,
    age                         smallint,
    age_months                  smallint,
    height_cm                   double,
    weight_kg                   double,
    clothing_weight_kg          double,
    is_athlete_mode             boolean,
    device                      varchar,
    body_fat_percent            double,
    fat_mass_kg                 double,
    fat_free_mass_kg            double,
    muscle_mass_kg              double,
    total_body_water_kg         double,
    total_body_water_percent    double,
    bone_mineral_mass_kg        double,
    basal_metabolic_rate_kcal_d double,
    metabolic_age_a             double,
    visceral_fat_level          double,
    bmi_printed_kg_m2           double,
    resting_heart_rate_per_min  double,
    cardio_hours_per_week       double,
    unreadable                  varchar[]      -- fields in which something stands that cannot be read
);
