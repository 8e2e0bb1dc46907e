-- touched_period, changed_person (temporary): every period is counted anew, because the age groups of the settings changed
-- grain   period
-- inputs  reading.participant_period, touched_period
-- keys    period unique, not null
-- rule    a period already touched stays so; each is counted anew, and nobody is left who changes
-- reruns  the same as once
create or replace temp table touched_period as
select period, true as is_whole from touched_period
union
select period, true from reading.participant_period;

delete from changed_person;
