-- checked (temporary): the readings of a pass with what each has wrong
-- grain   line of a file
-- inputs  none: 11_reading_checked.sql fills it, for those files at a time that are written the same way
-- keys    (file, line) unique
-- rule    columns as in 10_normalised.sql; codes, flags and proposal as in 11_reading_checked.sql
-- reruns  made anew for every pass
create or replace temp table checked (
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
    unreadable                  varchar[],
    codes                       varchar[],
    flags                       varchar[],
    proposal                    varchar
);
