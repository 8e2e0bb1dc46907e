-- received, broken_line (temporary): what the files of a pass say, as text, before anything is made of it
-- grain   received: one row of one file; broken_line: one line that does not have the header's fields
-- inputs  none: readers of pipeline/intake/readers fill both, one file after the other
-- keys    (file, line) unique in each; file is the file's place in the pass, 1 is the first, and by itself that of the
--         file which is being read (variable `place`); line is the physical line of a text file or the row of a sheet,
--         1 is the first
-- rule    a field that the file does not carry is null; an empty cell is '' or null; blank lines are not rows
-- reruns  both are made anew for every pass
create or replace temp table received (
    file                     integer not null default coalesce(getvariable('place'), 0),
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
create or replace temp table broken_line (
    file     integer not null default coalesce(getvariable('place'), 0),
    line     bigint not null,
    code     varchar not null,      -- row_cut_off, too_many_fields
    found    varchar not null,
    expected varchar not null
);
