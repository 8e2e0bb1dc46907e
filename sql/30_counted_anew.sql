-- counted_anew (temporary view): who counts in the touched periods that are counted anew, each as a change by +1
-- grain   participant × period
-- inputs  reading.participant_period, touched_period
-- keys    (participant, period) unique
-- rule    Of the other touched periods changed_person says by how much they change. Tallies are sums of whole numbers, so
--         that both ways give the same.
-- reruns  a view: it changes nothing
create or replace temp view counted_anew as
select 1 as change, *
from reading.participant_period
where period in (select period from touched_period where is_whole);
