-- ledger.file: files of sources that were held or refused, and would be again: they are not even fetched
-- grain   one file
-- inputs  met_again (file_id, run_id, received_at)
-- keys    file_id
-- rule    the run that meets a file last has it, as if it had been read; its account and its held rows stay
-- reruns  the same again
update ledger.file
set run_id = met_again.run_id, received_at = met_again.received_at
from met_again
where file.file_id = met_again.file_id;
