-- outcome_moment: counts and sums of changes, from which every mean, share and interval follows
-- grain   stage × months × measure × start × sex × site of entry
-- inputs  outcome_change
-- keys    the grain is unique
-- rule    n_due counts people, n those who have the figure. y, yy: sums of the figure and its square; w, ww, wy, wyy,
--         wwy, wwyy the same weighted. Summed as whole numbers, hence exact; weights and figures in units here.
-- reruns  a query: it changes nothing
select
    stage, months, measure, start, sex, site,
    count(*) as n_due, count(value) as n,
    sum(value)::double / 1e3 as y, sum(value * value)::double / 1e6 as yy,
    sum(weight) filter (where value is not null)::double / 1e3 as w,
    sum(weight::hugeint * weight) filter (where value is not null)::double / 1e6 as ww,
    sum(weight::hugeint * value)::double / 1e6 as wy,
    sum(weight::hugeint * value * value)::double / 1e9 as wyy,
    sum(weight::hugeint * weight * value)::double / 1e9 as wwy,
    sum(weight::hugeint * weight * value * value)::double / 1e12 as wwyy
from outcome_change
group by stage, months, measure, start, sex, site
order by all;
