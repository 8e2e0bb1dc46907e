-- Sites compared, and analysers and sites as instruments: result.*, unsuppressed, columns as published.

-- result.site_comparison: one site beside all of them, in one band or one measure, in one period
create table result.site_comparison (
    topic varchar not null, band varchar not null, unit varchar not null, site varchar not null,
    period varchar not null, sex varchar not null, age_from smallint not null, age_to smallint not null,
    n bigint, denominator bigint not null,
    value double, low double, high double, reference double not null,
    expected double, ratio double, ratio_low double, ratio_high double,
    funnel_low_95 double, funnel_high_95 double, funnel_low_998 double, funnel_high_998 double,
    score double, q_value double, shrunken double, shrunken_low double, shrunken_high double,
    method varchar not null, flag varchar
);

-- result.site_heterogeneity: how much the sites of result.site_comparison differ beyond chance
create table result.site_heterogeneity (
    topic varchar not null, band varchar not null, unit varchar not null,
    period varchar not null, sex varchar not null, age_from smallint not null, age_to smallint not null,
    sites bigint not null, mean double, low double, high double, between_sd double, i_squared double,
    q double, p double, overdispersion double, method varchar not null, flag varchar
);

-- result.device: one analyser in one period against the other analysers of the site and its own past.
-- device is null where a site's files do not name their analysers: the site is then one instrument.
create table result.device (
    site varchar not null, device varchar, measure varchar not null, period varchar not null,
    n bigint not null, difference double, low double, high double,
    upper_sum double, lower_sum double, decision double not null,
    signal varchar not null, method varchar not null, flag varchar
);

-- result.instrument_check: marks of careless or wrong entry at a site; period is null for all periods
create table result.instrument_check (
    site varchar not null, period varchar, "check" varchar not null,
    n bigint not null, denominator bigint not null, statistic double, p double, value double,
    method varchar not null, flag varchar
);
