-- ledger.fetched: which bytes a source holds at a place, so that the next run need not fetch them again
-- grain   one place in a source
-- inputs  parameters only
-- keys    (url, path)
-- reruns  what stood there before is replaced
insert or replace into ledger.fetched (url, path, site, fingerprint, sha256)
values ($url, $path, $site, $fingerprint, $sha256);
