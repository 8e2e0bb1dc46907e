-- Temporary macros: classes of people as whole numbers, and the sums of which outcomes are made
-- inputs  values of a visit or a change; a null in gives a null out and is in no sum

-- ---- class: site of entry, sex, age and BMI at entry, in one whole number --------------------------------------

-- counting by one small number is several times faster than by words
create or replace temp macro class_of(site_number, sex, age, bmi) as
    ((2 * site_number + (sex = 'male')::integer) * 4
        + case when age < 20 then 0 when age < 40 then 1 when age < 60 then 2 else 3 end) * 3
        + case when bmi < 25 then 0 when bmi < 30 then 1 else 2 end;

create or replace temp macro site_of(class) as class // 24;
create or replace temp macro sex_of(class) as case class // 12 % 2 when 1 then 'male' else 'female' end;
create or replace temp macro is_adult(class) as class // 3 % 4 > 0;
create or replace temp macro age_from_of(class) as
    case class // 3 % 4 when 0 then 5 when 1 then 20 when 2 then 40 else 60 end;
create or replace temp macro bmi_from_of(class) as case class % 3 when 0 then 0 when 1 then 25 else 30 end;
create or replace temp macro stage_of(class) as case when is_adult(class) then 'adults' else 'children' end;
create or replace temp macro start_of(class) as case when class % 3 > 0 then 'bmi_25' else 'under_25' end;

-- ---- stratum: class, visits so far and change so far, by which the chance of another visit is reckoned -----------

-- change of weight since entry, in whole percent, drawn in to −12 … 8; the fourth visit and later ones are one
create or replace temp macro stratum_of(class, visit, weight_kg, entry_weight_kg) as
    (class * 4 + least(visit, 4) - 1) * 21
        + 12 + greatest(-12, least(8, round(100 * (weight_kg - entry_weight_kg) / entry_weight_kg)))::integer;

create or replace temp macro class_of_stratum(stratum) as stratum // 84;
create or replace temp macro visits_of(stratum) as stratum // 21 % 4 + 1;
create or replace temp macro change_of(stratum) as stratum % 21 - 12;

-- ---- the wobble between visits ---------------------------------------------------------------------------------

-- the share of the time between two days that is gone on a day between them; null unless the three are different days
-- and the outer ones at most most_days apart
create or replace temp macro share_of_time(before_on, measured_on, after_on, most_days) as case
    when measured_on > before_on and after_on > measured_on and after_on - before_on <= most_days
    then (measured_on - before_on)::double / (after_on - before_on)
end;

-- how far a value lies off the line from the one before to the one after, f of the way, over its standard deviation
-- for a value with one of 1
create or replace temp macro off_line(value, before, after, f) as
    abs((value - (1 - f) * before - f * after) / sqrt(1 + (1 - f) * (1 - f) + f * f));

-- off, drawn in to reach, and the values that have one; whole thousandths
create or replace temp macro wobble_of(off, reach, value) as {
    n: count(off),
    rr: sum(pow(round(1000 * least(reach, off)), 2)::bigint) filter (where off is not null),  -- least() passes over nulls
    v: sum(round(1000 * value)::bigint) filter (where off is not null),
    vv: sum(pow(round(1000 * value), 2)::bigint) filter (where off is not null)
};

-- ---- sums of changes -------------------------------------------------------------------------------------------

-- of people who stand for others: value in whole thousandths of its unit; weight in whole thousandths, null where the
-- value is null or the person stands for nobody. Measures that the same people have share their sums of weight, which
-- are then made once. Products that can pass a bigint are hugeint.
create or replace temp macro weighted_moment_of(value, weight) as {
    n: count(value), y: sum(value), yy: sum(value::bigint * value), w: sum(weight), ww: sum(weight * weight),
    wy: sum(weight * value), wyy: sum((weight * value)::hugeint * value), wwy: sum((weight * value)::hugeint * weight),
    wwyy: sum((weight * value)::hugeint * (weight * value))
};

-- the same of yes or no, which count as 1000 and 0 thousandths
create or replace temp macro weighted_share_of(answer, weight) as {
    n: count(answer), y: 1000 * sum(answer::integer), yy: 1000000 * sum(answer::integer),
    w: sum(weight), ww: sum(weight * weight),
    wy: 1000 * sum(weight * answer::integer), wyy: 1000000 * sum(weight * answer::integer),
    wwy: 1000 * sum(weight * weight * answer::integer), wwyy: 1000000 * sum(weight * weight * answer::integer)
};

-- ---- follow-ups and changes --------------------------------------------------------------------------------------

-- what became of somebody at a follow-up, in the order in which 57_outcome_follow_up.sql decides it
create or replace temp macro status_of(number) as
    ['not_due', 'site_silent', 'seen', 'seen_elsewhere', 'not_counted', 'missed', 'gone'][number];

-- 1 or -1 where a change is more than the smallest that is more than error, else 0
create or replace temp macro way_of(change, smallest) as case
    when change < -smallest then -1
    when change > smallest then 1
    when change + smallest is not null then 0
end::tinyint;

create or replace temp macro season_cos(day) as cos(2 * pi() * dayofyear(day) / 365.25);
create or replace temp macro season_sin(day) as sin(2 * pi() * dayofyear(day) / 365.25);
