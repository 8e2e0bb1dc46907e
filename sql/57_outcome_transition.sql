-- outcome_transition: from which BMI band to which
-- grain   months × banding × band at entry × band at the follow-up
-- inputs  outcome_change
-- keys    the grain is unique
-- rule    people who were due and seen; adults stay in the adult banding, under 20 at both readings in the children's.
--         Bands are decided on each reading's own height and weight.
-- reruns  a query: it changes nothing
select
    months, 'bmi_adult' as banding, band_bmi_adult(entry_bmi_kg_m2) as band_from, band_bmi_adult(bmi_kg_m2) as band_to,
    count(*) as n
from outcome_change
where is_adult(class)
group by months, band_from, band_to
union all
select
    months, 'bmi_child' as banding, band_bmi_child(entry_bmi_z) as band_from, band_bmi_child(bmi_z) as band_to,
    count(*) as n
from outcome_change
where not is_adult(class) and bmi_z_change is not null
group by months, band_from, band_to
order by all;
