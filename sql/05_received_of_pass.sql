-- received_of_pass, broken_line_of_pass (temporary): what the files of a pass say, as text
-- grain   received_of_pass: one row of one file; broken_line_of_pass: one line that does not have the header's fields
-- inputs  none: 07_received_of_pass.sql adds one file after the other
-- keys    (file, line) unique in each; file is the file's place in the pass, 1 is the first
-- rule    as in 05_received.sql
-- reruns  both are made anew for every pass
create or replace temp table received_of_pass (
    file                     integer not null,
    line                     bigint not null,
    participant              varchar,
    measured_on              varchar,
    sex                      varchar,
    age                      varchar,
    height                   varchar,
    weight                   varchar,
    clothing_weight          varchar,
    athlete_mode             varchar,
    device                   varchar,
    body_fat_percent         varchar,
    fat_mass                 varchar,
    fat_free_mass            varchar,
    muscle_mass              varchar,
    total_body_water         varchar,
    total_body_water_percent varchar,
    bone_mineral_mass        varchar,
    basal_metabolic_rate     varchar,
    metabolic_age            varchar,
    visceral_fat_level       varchar,
    bmi                      varchar,
    resting_heart_rate       varchar,
    cardio_hours_per_week    varchar
);
create or replace temp table broken_line_of_pass (
    file     integer not null,
    line     bigint not null,
    code     varchar not null,
    found    varchar not null,
    expected varchar not null
);
