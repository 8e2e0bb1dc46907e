-- Smooth curves, standardised prevalence, trends, and the cohort beside the WHO reference.

-- tally.person_value: sex × age × measure × value → n, each person once by their last counted reading, all sites
create table tally.person_value (
    sex varchar not null, age smallint not null, measure varchar not null, value integer not null, n bigint not null
);

-- between-site variance over that of a simple sample, rounded up to a quarter; null for a site's own row
alter table result.prevalence add column design_effect double;

-- person_weight is not published: how far one person moves the figure at most; disclosure control rounds by it
create table result.standardised_prevalence (
    banding varchar not null, band varchar not null, population varchar not null, site varchar, period varchar not null,
    sex varchar not null, age_from smallint not null, age_to smallint not null, standard varchar not null,
    n bigint not null, denominator bigint not null, proportion double, low double, high double,
    method varchar not null, flag varchar, person_weight double not null
);
create table result.trend (
    banding varchar not null, band varchar not null, sex varchar not null,
    age_from smallint not null, age_to smallint not null,
    period_from varchar not null, period_to varchar not null, periods smallint not null,
    n bigint not null, denominator bigint not null,
    odds_ratio double, low double, high double, points_a_period double, p double,
    method varchar not null, flag varchar
);
create table result.curve (
    measure varchar not null, unit varchar not null, sex varchar not null, n bigint not null,
    age_from smallint, age_to smallint, method varchar not null, why varchar not null, flag varchar
);
create table result.percentile_curve (
    measure varchar not null, unit varchar not null, sex varchar not null, age smallint not null,
    percentile smallint not null, value double, low double, high double, n bigint not null,
    method varchar not null, flag varchar
);
create table result.curve_diagnostic (
    measure varchar not null, sex varchar not null, age_from smallint not null, age_to smallint not null,
    diagnostic varchar not null, "at" double not null,
    observed double, expected double, low double, high double, n bigint not null, flag varchar
);
create table result.who_position (
    period varchar not null, sex varchar not null, age_from smallint not null, age_to smallint not null,
    percentile smallint not null, n bigint not null, denominator bigint not null,
    proportion double, low double, high double, expected double not null,
    method varchar not null, flag varchar
);
