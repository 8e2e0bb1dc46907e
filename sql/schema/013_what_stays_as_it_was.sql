-- What a night need not look at again, because nothing of it changed since.

-- ledger.inbox_file: an accepted file that lies in the inbox, as it looked before it was read. One that looks as it did
-- then is not read again. Where this table is lost, files are read and known by their sha256.
create table ledger.inbox_file (
    site   varchar not null,
    name   varchar not null,                               -- below the site's folder
    looks  varchar not null,                               -- inode, size, moments of the last writing and the last change
    sha256 varchar not null,
    primary key (site, name)
);

-- ledger.count_state: one row once readings were counted. basis: digest of the program that did; checked_on: the day of
-- the run that last asked every promise of sql/checks/ of the whole store, null for none since this program counts
create table ledger.count_state (basis varchar not null, checked_on date);
