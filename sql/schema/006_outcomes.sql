-- Outcomes: who was seen again, how people changed, and how sure one can be of it. result.*, unsuppressed.

-- result.retention: of those who entered, how many were seen at a follow-up, and what became of the others.
-- status not_due and site_silent count out of everybody who entered; the rest out of those whose follow-up was due.
create table result.retention (
    months smallint not null, site varchar, entry_period varchar,
    age_from smallint not null, age_to smallint not null,
    status varchar not null, n bigint not null, denominator bigint not null,
    proportion double, low double, high double, method varchar not null, flag varchar
);

-- result.outcome: change from entry to a follow-up, by estimator
create table result.outcome (
    months smallint not null, measure varchar not null, unit varchar not null, statistic varchar not null,
    start varchar not null, sex varchar not null, age_from smallint not null, age_to smallint not null,
    estimator varchar not null, direction varchar not null,
    n bigint not null, denominator bigint not null, value double, low double, high double,
    effective_n double, method varchar not null, flag varchar
);

-- result.transition: BMI band at entry × BMI band at a follow-up
create table result.transition (
    months smallint not null, banding varchar not null, band_from varchar not null, band_to varchar not null,
    n bigint not null, denominator bigint not null, proportion double, low double, high double,
    method varchar not null, flag varchar
);

-- result.retention_balance: how like all who were due those seen are, before and after weighting
create table result.retention_balance (
    months smallint not null, covariate varchar not null, level varchar not null,
    n bigint not null, denominator bigint not null,
    share_due double, share_seen double, share_weighted double,
    difference_before double, difference_after double, method varchar not null, flag varchar
);

-- result.measurement_error: how far two readings of an unchanged person differ; is_used marks the error that
-- reliable change and regression to the mean are reckoned with
create table result.measurement_error (
    measure varchar not null, unit varchar not null, source varchar not null,
    n bigint not null, error double not null, percent_error double, reliability double,
    smallest_detectable_change double not null, is_used boolean not null, method varchar not null, flag varchar
);

-- result.outcome_site: each site's people, by site of entry, beside those of all sites
create table result.outcome_site (
    months smallint not null, topic varchar not null, unit varchar not null, site varchar not null,
    n bigint, denominator bigint not null, value double, low double, high double, reference double not null,
    funnel_low_95 double, funnel_high_95 double, funnel_low_998 double, funnel_high_998 double,
    score double, q_value double, shrunken double, shrunken_low double, shrunken_high double,
    target double, target_probability double, method varchar not null, flag varchar
);

-- result.group_time_effect: sites that started against sites that had not yet
create table result.group_time_effect (
    kind varchar not null, started varchar, measured_in varchar, event_time smallint,
    n bigint not null, comparison_n bigint not null, sites bigint not null, comparison_sites bigint not null,
    value double, low double, high double, p double, method varchar not null, flag varchar
);
