-- received, as much of it as filing needs: the cells of lines that are held
-- grain   one held row of one file
-- inputs  received, checked, broken_line (all of this pass)
-- keys    (file, line) unique
-- rule    of a line that is taken, all stands in `checked`. Whose reading it is does not travel as it was written:
--         `checked` has the pseudonym
-- reruns  a query: it changes nothing
select received.* replace (null::varchar as participant)
from received
join checked on checked.file = received.file and checked.line = received.line
left join broken_line as broken on broken.file = received.file and broken.line = received.line
where len(checked.codes) > 0 or broken.line is not null
order by received.file, received.line
