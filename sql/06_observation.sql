-- observation, patient (temporary): what one file of FHIR resources says, a value at a time
-- grain   observation: one coded value of one Observation; patient: one Patient resource
-- inputs  none: pipeline/intake/readers/fhir.py fills both
-- keys    none: a panel gives several values on one line, and the same value may come twice
-- rule    said is text in the field's canonical unit, or text that cannot be read; null is said to be missing.
--         field is null where the Observation's status says that it does not count
-- reruns  both are made anew for every file
create or replace temp table observation (
    line    bigint not null,
    subject varchar,
    moment  varchar,
    device  varchar,
    field   varchar,
    said    varchar
);
create or replace temp table patient (
    subject varchar,
    gender  varchar
);
