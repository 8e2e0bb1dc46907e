-- leaving_line (temporary): lines of a newly read file that must not be kept
-- grain   one line of one file
-- inputs  checked (this file); tombstone (tombstone: those of everybody who withdrew); $inner_pad, $outer_pad of the
--         store's key; received and $participant_scope, for numbers whose accents are written as marks of their own,
--         since whoever withdrew before they were composed has the tombstone of that writing; $first_period: the first that is kept, null for all
-- keys    line unique
-- rule    withdrawn: a row of somebody who withdrew, whatever else may be wrong with it; expired: its day lies in a
--         period that is past its time. A line that tells neither person nor day is neither.
-- reruns  made anew for every file
create or replace temp table leaving_line as
with person as (
    select distinct participant
    from checked
    where participant is not null and (select count(*) from tombstone) > 0
),
withdrawn as (
    select participant
    from person
    where tombstone_of($inner_pad, $outer_pad, participant) in (select tombstone from tombstone)
    union
    select checked.participant
    from checked
    join received on received.line = checked.line
    where checked.participant is not null and (select count(*) from tombstone) > 0
        and received.participant <> nfc_normalize(received.participant)
        and tombstone_of($inner_pad, $outer_pad,
            pseudonym_as_written($inner_pad, $outer_pad, $participant_scope, received.participant))
            in (select tombstone from tombstone)
)
select
    checked.line,
    case when withdrawn.participant is not null then 'withdrawn' else 'expired' end as outcome
from checked
left join withdrawn on withdrawn.participant = checked.participant
where withdrawn.participant is not null or coalesce(checked.period < $first_period, false);
