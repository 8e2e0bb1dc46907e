-- Rows that must not be kept (withdrawn people, expired periods), and the record of frozen releases.

-- The sum is now, for every file, always:
-- rows_read = rows_accepted + rows_held + rows_duplicate + rows_superseded + rows_withdrawn + rows_expired
alter table ledger.file add column rows_withdrawn bigint default 0;   -- of people who withdrew, wherever they stood before
alter table ledger.file add column rows_expired bigint default 0;     -- past [retention] readings
alter table ledger.file add column kept_sha256 varchar;               -- of the copy in store/archive/; null: none is kept
alter table ledger.file add column has_row_account boolean default false;   -- its rows that gave no reading stand below
update ledger.file set kept_sha256 = sha256 where state = 'accepted';
update ledger.file set has_row_account = rows_read = rows_accepted;

-- ledger.unaccepted_row: one row of a file that gave no reading: what became of it, and whose it was. Who withdraws
-- takes these rows along, and the kept copy of the file loses their lines.
create table ledger.unaccepted_row (
    file_id     integer not null,
    line        bigint not null,
    participant varchar,                                   -- keyed pseudonym; null where the row does not tell
    outcome     varchar not null                           -- held, duplicate, superseded
);

-- ledger.removal: that rows were removed, when and how many; never whose
create table ledger.removal (
    removal_id  integer primary key,
    as_of       date not null,
    happened_at timestamp not null,
    version     varchar not null,
    cause       varchar not null,                          -- withdrawal, retention
    rows        bigint not null,
    copies      bigint not null,                           -- kept copies deleted for their age
    is_erased   boolean not null default false             -- the database file was written anew since, without them
);
create table ledger.removal_file (
    removal_id integer not null,
    file_id    integer not null,
    rows       bigint not null
);

-- ledger.release: one version of one frozen period
create table ledger.release (
    period          varchar not null,
    version         integer not null,
    folder          varchar not null,                      -- below published/releases/
    manifest_sha256 varchar not null,
    as_of           date not null,
    software        varchar not null,
    settings_sha256 varchar not null,
    why             varchar,                               -- of a restatement
    state           varchar not null                       -- begun: its folder may not be there yet; frozen
);
