-- People's visits, kept from run to run: a night works out those of the people whose files came, and no others.

-- reading.visit: a person's visits in the programme, the first of them being the entry; and readings that are set aside
create table reading.visit (
    person           bigint not null,                      -- reading_id of the entry: whose rows belong together
    visit            integer,                              -- 1 is the entry; null for a reading that is set aside
    measured_on      date not null,
    days             integer not null,                     -- since the entry
    site_number      integer not null,                     -- in the order of the settings' site names
    is_elsewhere     boolean not null,                     -- than at the site of entry
    device           varchar,
    period           varchar not null,
    sex              varchar not null,
    age              smallint not null,
    age_months       smallint,
    height_cm        double not null,
    weight_kg        double not null,
    body_fat_percent double,
    fat_mass_kg      double,
    fat_free_mass_kg double,
    class            integer not null,                     -- site, sex, age and BMI at entry (03_macros_outcomes.sql)
    stratum          integer,                              -- class of return; null under 20 at entry
    came_again       boolean,                              -- within 180 days
    off_weight       double,                               -- how far off the line between the visits around it
    off_percent      double,
    off_fat          double,
    off_fat_free     double
);

-- reading.repeat: the first two readings of a visit, of adults, in whole thousandths
create table reading.repeat (
    reading_id             bigint not null,                -- of the first
    weight                 integer not null,
    next_weight            integer not null,
    body_fat_percent       integer,
    next_body_fat_percent  integer,
    fat_mass               integer,
    next_fat_mass          integer,
    fat_free_mass          integer,
    next_fat_free_mass     integer
);

-- ledger.visit_state: one row once visits were written; basis: digest of the program and of the settings they rest on
create table ledger.visit_state (basis varchar not null);
