-- stop: every reading stands under the site of the file that it came in
select accepted.site, file.site as site_of_file, accepted.file_id, count(*) as n
from reading.accepted as accepted
left join ledger.file as file on file.file_id = accepted.file_id
where file.site is distinct from accepted.site
group by all
order by all;
