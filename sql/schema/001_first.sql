-- The store's first schema, one SQL schema to a layer. A later change is a new numbered file.
create schema ledger;
create schema reading;
create schema tally;
create schema result;
create schema reference;

create table ledger.schema_step (step integer primary key, name varchar not null);

-- ledger.run: one run: when, version, settings' hash, how it ended
create table ledger.run (
    run_id          integer primary key,
    as_of           date not null,
    started_at      timestamp not null,
    finished_at     timestamp,
    version         varchar not null,
    settings_sha256 varchar not null,
    outcome         varchar not null default 'running'     -- running, finished, finished_with_held_files, failed
);

-- ledger.file: one received file. The sum is exact for every file, always:
-- rows_read = rows_accepted + rows_held + rows_duplicate + rows_superseded
create table ledger.file (
    file_id         integer primary key,                   -- in the order of receipt
    run_id          integer not null,
    site            varchar not null,
    name            varchar not null,                      -- as it stood in the inbox
    sha256          varchar not null,                      -- of the bytes as received
    bytes           bigint not null,
    received_at     timestamp not null,
    state           varchar not null,                      -- accepted, held, refused
    format          varchar,
    encoding        varchar,
    profile_sha256  varchar,
    reason_code     varchar,                               -- why a file was held or refused
    reason          varchar,                               -- the message as it was shown, nothing identifying in it
    rows_read       bigint not null default 0,
    rows_accepted   bigint not null default 0,
    rows_held       bigint not null default 0,
    rows_duplicate  bigint not null default 0,
    rows_superseded bigint not null default 0,
    is_built        boolean not null default false,        -- its rows are in participant_period and the tallies
    unique (site, sha256)
);

-- ledger.held_row: one row that was not accepted, as received less any identifier
create table ledger.held_row (
    file_id   integer not null,
    line      bigint not null,                             -- physical line (text) or sheet row, 1 is the first
    codes     varchar[] not null,                          -- every reason, most serious first
    field     varchar not null,                            -- the field of the first reason, '' for the whole row
    found     varchar,
    expected  varchar,
    proposal  varchar,                                     -- an unambiguous correction, in words; never applied
    received  varchar not null                             -- JSON object header → text, less identifying columns
);

-- reading.accepted: one reading, canonical units. Facts only; what later checks say of it is in reading.set_aside.
create table reading.accepted (
    reading_id                  bigint not null,           -- file_id * 1000000000 + line
    file_id                     integer not null,
    line                        bigint not null,
    site                        varchar not null,
    participant                 varchar not null,          -- keyed pseudonym
    measured_on                 date not null,
    measured_at                 timestamp not null,        -- midnight where the file gives only a day
    period                      varchar not null,          -- 2025Q3 or 2025-07
    sex                         varchar not null,          -- female, male
    age                         smallint not null,         -- whole years
    age_months                  smallint,                  -- completed months, where the file gives months
    height_cm                   double not null,
    weight_kg                   double not null,
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
    flags                       varchar[] not null         -- codes of severity flag: accepted, counted, reported
);

-- reading.set_aside: readings that are kept but do not count, and why (checks that need a person's other readings)
create table reading.set_aside (
    reading_id bigint not null,
    code       varchar not null
);

-- reading.participant_period: the one reading that counts for a person in a period, with its derived measures
create table reading.participant_period (
    participant                 varchar not null,
    period                      varchar not null,
    site                        varchar not null,
    reading_id                  bigint not null,
    measured_on                 date not null,
    sex                         varchar not null,
    age                         smallint not null,
    age_months                  smallint,
    device                      varchar,
    is_athlete_mode             boolean,
    weight_kg                   double not null,
    height_cm                   double not null,
    bmi_kg_m2                   double not null,
    bmi_z                       double,
    body_fat_percent            double,
    fat_mass_kg                 double,
    fat_free_mass_kg            double,
    muscle_mass_kg              double,
    total_body_water_kg         double,
    total_body_water_percent    double,
    water_in_fat_free_mass      double,
    bone_mineral_mass_kg        double,
    basal_metabolic_rate_kcal_d double,
    metabolic_age_a             double,
    visceral_fat_level          double,
    fat_mass_index_kg_m2        double,
    fat_free_mass_index_kg_m2   double,
    muscle_mass_index_kg_m2     double
);

-- reading.status: every accepted reading, whether it may count, whether it does, and why
create view reading.status as
select
    accepted.reading_id,
    set_aside.codes is null as is_eligible,
    chosen.reading_id is not null as is_chosen,
    case
        when set_aside.codes is not null then array_to_string(set_aside.codes, ', ')
        when chosen.reading_id is not null then 'last eligible reading of the period'
        else 'a later reading of the period counts'
    end as why
from reading.accepted as accepted
left join (
    select reading_id, list(code order by code) as codes from reading.set_aside group by reading_id
) as set_aside on set_aside.reading_id = accepted.reading_id
left join reading.participant_period as chosen on chosen.reading_id = accepted.reading_id;

-- tally.value: period × sex × age × measure × value → n, all sites. value counts print steps (72.4 kg is 724).
create table tally.value (
    period varchar not null, sex varchar not null, age smallint not null,
    measure varchar not null, value integer not null, n bigint not null
);

-- tally.moment: site × period × sex × age group × measure → n, sum, sum of squares, in print steps
create table tally.moment (
    site varchar not null, period varchar not null, sex varchar not null,
    age_from smallint not null, age_to smallint not null, measure varchar not null,
    n bigint not null, sum hugeint not null, sum_of_squares hugeint not null
);

-- tally.band: site × period × sex × age × banding × band → n
create table tally.band (
    site varchar not null, period varchar not null, sex varchar not null, age smallint not null,
    banding varchar not null, band varchar not null, n bigint not null
);

-- result.*: unsuppressed results for the programme's own analysts, columns as published
create table result.prevalence (
    banding varchar not null, band varchar not null, population varchar not null, site varchar, period varchar not null,
    sex varchar not null, age_from smallint not null, age_to smallint not null,
    n bigint not null, denominator bigint not null, proportion double, low double, high double,
    method varchar not null, flag varchar
);
create table result.percentile (
    measure varchar not null, unit varchar not null, site varchar, period varchar not null, sex varchar not null,
    age_from smallint not null, age_to smallint not null, percentile smallint not null,
    value double, low double, high double, n bigint not null, method varchar not null, flag varchar
);
create table result.data_quality (
    site varchar not null, period varchar, item varchar not null, severity varchar not null,
    n bigint not null, denominator bigint not null, proportion double, flag varchar
);

-- reference.age_group: the published age groups of this run's settings; is_total marks those made of others
create table reference.age_group (age_from smallint not null, age_to smallint not null, is_total boolean not null);

-- reference.who_bmi_for_age: WHO Reference 2007, one row a sex and completed month (61 to 228)
create table reference.who_bmi_for_age (
    sex varchar not null, month smallint not null, l double not null, m double not null, s double not null
);
