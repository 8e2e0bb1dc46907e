-- outcome_chance (temporary): minus the logarithm of the chance of another visit, by class of visit
-- grain   stratum
-- inputs  return_chance
-- keys    stratum unique
-- rule    whole millionths, so that the order of adding does not matter
-- reruns  replaced whole
create or replace temp table outcome_chance as
select stratum, round(-1e6 * ln(chance))::bigint as minus_log
from return_chance;
