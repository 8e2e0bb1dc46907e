-- received, as much of it as filing needs: which lines there are, and the cells of those that are held
-- grain   one row of one file
-- inputs  received, checked, broken_line (all of this pass)
-- keys    (file, line) unique
-- rule    the cells of a line that is taken stand in `checked`; they do not travel twice. Whose reading it is does not
--         travel at all: `checked` has the pseudonym
-- reruns  a query: it changes nothing
with held as (
    select checked.file, checked.line
    from checked
    left join broken_line as broken on broken.file = checked.file and broken.line = checked.line
    where len(checked.codes) > 0 or broken.line is not null
)
select
    received.file,
    received.line,
    null::varchar as participant,
    case when held.line is not null then columns(received.* exclude (file, line, participant)) end
from received
left join held on held.file = received.file and held.line = received.line
order by received.file, received.line
