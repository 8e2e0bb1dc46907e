-- tally.change_value: how many people changed by how much, by class
-- grain   period × measure × class × change
-- inputs  person_change; $first: the first period that person_change holds, or null for all
-- keys    the grain is unique, none null
-- rule    What is usual of a class is taken from it before far changes are drawn in (pipeline/statistics/change_spread.py)
-- reruns  rewrites the periods from the first on; twice is the same as once
delete from tally.change_value where $first is null or period >= $first;

insert into tally.change_value (period, measure, class, change, n)
select period, 'weight', class, weight, count(*) from person_change where weight is not null
group by period, class, weight
union all
select period, 'body_fat_percent', class, body_fat_percent, count(*) from person_change
where body_fat_percent is not null
group by period, class, body_fat_percent;
