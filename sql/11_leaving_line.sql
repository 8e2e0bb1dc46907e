-- leaving_line (temporary): lines of newly read files that must not be kept
-- grain   one line of one file
-- inputs  checked (this pass); tombstone (tombstone: those of everybody who withdrew); $inner_pad, $outer_pad of the
--         store's key; received and file_of_pass.scope, for numbers whose accents are written as marks of their
--         own, since whoever withdrew before they were composed has the tombstone of that writing; received and
--         file_of_pass.site, for who withdrew under the site's own number while its profile said that it is one;
--         file_of_pass.first_period: the first that is kept, null for all
-- keys    (file, line) unique
-- rule    withdrawn: a row of somebody who withdrew, whatever else may be wrong with it; expired: its day lies in a
--         period that is past its time. A line that tells neither person nor day is neither.
-- reruns  made anew for every pass
create or replace temp table leaving_line as
with person as (
    select distinct participant
    from checked
    where participant is not null and (select count(*) from tombstone) > 0
),
person_who_withdrew as (
    select participant
    from person
    where tombstone_of($inner_pad, $outer_pad, participant) in (select tombstone from tombstone)
),
own_number as (
    select distinct file_of_pass.site, received.participant
    from received
    join file_of_pass on file_of_pass.file = received.file
    where received.participant is not null and file_of_pass.scope = '' and (select count(*) from tombstone) > 0
),
own_number_that_withdrew as (
    select site, participant
    from own_number
    where tombstone_of($inner_pad, $outer_pad,
        pseudonym($inner_pad, $outer_pad, site, received_participant(participant))) in (select tombstone from tombstone)
),
withdrawn as (
    select file, participant
    from checked
    semi join person_who_withdrew using (participant)
    union
    select checked.file, checked.participant
    from checked
    join received as received on received.file = checked.file and received.line = checked.line
    join file_of_pass on file_of_pass.file = checked.file
    where checked.participant is not null and (select count(*) from tombstone) > 0
        and received.participant <> nfc_normalize(received.participant)
        and tombstone_of($inner_pad, $outer_pad,
            pseudonym_as_written($inner_pad, $outer_pad, file_of_pass.scope, received.participant))
            in (select tombstone from tombstone)
    union
    select checked.file, checked.participant
    from checked
    join received as received on received.file = checked.file and received.line = checked.line
    join file_of_pass on file_of_pass.file = checked.file
    semi join own_number_that_withdrew as own
        on own.site = file_of_pass.site and own.participant = received.participant
    where checked.participant is not null and file_of_pass.scope = ''
)
select
    checked.file,
    checked.line,
    case when withdrawn.participant is not null then 'withdrawn' else 'expired' end as outcome
from checked
join file_of_pass on file_of_pass.file = checked.file
left join withdrawn on withdrawn.file = checked.file and withdrawn.participant = checked.participant
where withdrawn.participant is not null or coalesce(checked.period < file_of_pass.first_period, false);
