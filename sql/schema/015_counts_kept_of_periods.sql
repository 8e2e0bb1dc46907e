-- What periods and files contributed to figures over all of them, so that a night counts what its files bring.

-- tally.last_digit: how many readings end in each digit, in the unit in which they were read
create table tally.last_digit (
    site    varchar not null,
    period  varchar,                                       -- null: of people's first height at the site, over all periods
    measure varchar not null,                              -- weight, height
    digit   tinyint not null,
    n       bigint not null
);

-- tally.file_in_last_digit: the files whose readings are counted there, and how many each had then
create table tally.file_in_last_digit (file_id integer primary key, site varchar not null, n bigint not null);

-- tally.band_of_ages: tally.band by age group, under the first of its ages; totals are made of groups
create table tally.band_of_ages (
    site varchar not null, period varchar not null, sex varchar not null, age_from smallint not null,
    banding varchar not null, band varchar not null, n bigint not null
);
