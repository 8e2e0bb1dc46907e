create or replace temp table outcome_chance as
select stratum, round(-1e6 * ln(chance))::bigint as minus_log
from return_chance;
