-- What periods contributed to the charts of analysers, so that a night works out anew only the periods from the first on
-- that its files touched. Nothing in it is of a person. sql/53_person_change.sql says what a class is.

-- tally.change_value: how many people changed by how much, before far ones are drawn in
create table tally.change_value (
    period  varchar not null,                              -- in which the later reading lies
    measure varchar not null,                              -- weight, body_fat_percent
    class   smallint not null,
    change  integer not null,                              -- thousandths of the measure's unit
    n       bigint not null
);

-- tally.change_sum: the sums of people's changes by class and site, far ones drawn in
create table tally.change_sum (
    period         varchar not null,
    measure        varchar not null,
    site           varchar not null,
    class          smallint not null,
    n              bigint not null,
    change         bigint not null,                        -- thousandths
    change_squared bigint not null                         -- millionths
);

-- tally.change_contrast: a site's mean changes from one analyser and month to another, beyond what was expected at the
-- end of the period: the fields of Contrasts in pipeline/statistics/change_contrast.py
create table tally.change_contrast (
    period         varchar not null,
    measure        varchar not null,
    site           varchar not null,
    device         varchar not null,                       -- '' where the files do not name it
    earlier_device varchar,                                -- null: of people who came from another site
    month          integer not null,
    earlier_month  integer not null,
    stage          tinyint not null,
    n              bigint not null,
    change         double not null,
    variance       double not null,
    ends           double not null,
    quarters       double not null
);

-- tally.analyser_chart: what a site's chart knew at the end of a period in which somebody was measured again
create table tally.analyser_chart (
    period       varchar not null,
    measure      varchar not null,
    site         varchar not null,
    scores       double[] not null,                        -- of its analysers' own errors in the period
    known        struct(devices varchar[], kind varchar, month double)[] not null,   -- faults found so far
    since        integer not null,                         -- the first month of a fault that is not known yet
    signalled_up varchar[] not null,                       -- analysers whose last signal was upward, and downward
    signalled_down varchar[] not null,
    shifted      varchar[] not null                        -- analysers whose last signal was a shift
);
