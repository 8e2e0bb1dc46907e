-- normalised (temporary), in the order of its files
-- grain   line of a file
-- inputs  normalised, in which files that are written the same way stand together
-- keys    (file, line) unique
-- rule    readings come into the store in the order in which one file after the other would bring them
-- reruns  twice is the same as once
create or replace temp table normalised as
from normalised order by file, line;
