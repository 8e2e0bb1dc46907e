-- file_facts (temporary): how each file of a pass prints its values, by its profile and by its rows
-- grain   file
-- inputs  normalised; file_of_pass (file, as_of: the day of its run, and its print steps in canonical units, of which
--         mass_step_kg and percent_step are null where it lacks such fields)
-- keys    file unique
-- rule    printed BMI is in whole numbers where every one of the file is, else in tenths
-- reruns  made anew for every pass
create or replace temp table file_facts as
select
    file_of_pass.file,
    as_of,
    height_step_cm as height_step,
    weight_step_kg as weight_step,
    coalesce(mass_step_kg, 0.1) as mass_step,
    coalesce(percent_step, 0.1) as percent_step,
    is_in_inches(height_step_cm) as has_inches,
    is_in_pounds(weight_step_kg) as has_pounds,
    case when bool_and(bmi_printed_kg_m2 = round(bmi_printed_kg_m2)) then 1 else 0.1 end as bmi_step,
    count(clothing_weight_kg) > 0 as carries_clothing_weight
from normalised
join file_of_pass on file_of_pass.file = normalised.file
group by file_of_pass.file, as_of, height_step_cm, weight_step_kg, mass_step_kg, percent_step;
