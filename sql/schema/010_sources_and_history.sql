-- Files fetched from sources besides the inbox, and what a run tells of itself.

-- ledger.fetched: one place in a source, and the bytes that were fetched from it. A file that its server shows as it did
-- then is not fetched again. Where this table is lost, files are fetched anew and known by their sha256.
create table ledger.fetched (
    url         varchar not null,                          -- the source's, as the settings name it; no secret stands in it
    path        varchar not null,                          -- below that
    site        varchar not null,
    fingerprint varchar not null,                          -- size, moment of change and tag, as the server showed them
    sha256      varchar not null,
    primary key (url, path)
);

-- ledger.run_step: one step of one run, and how long it took; of a step that was tried again, all tries together
create table ledger.run_step (
    run_id  integer not null,
    step    varchar not null,
    seconds double not null
);

alter table ledger.run add column fault varchar;           -- the title of what ended it, or of what it had to do without
