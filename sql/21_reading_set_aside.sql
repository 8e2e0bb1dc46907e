-- reading.set_aside: readings that do not fit the same person's other readings, and why
-- grain   reading × code
-- inputs  reading.accepted, touched_reading; $is_whole: everybody's readings, or only those; $parts and $part, from 0: of so
--         many parts of the people this one
-- keys    (reading_id, code) unique, neither null
-- rule    Two readings of a person disagree in sex, height or weight when the later cannot follow the earlier:
--           sex     differs
--           height  both at 20 years or over: more than 3 cm apart; else: falls by more than 2 cm, or grows by more
--                   than 2 cm and 12 cm a year
--           weight  changes by more than 10 % (under 20 years: 15 %) and 1 % a week, on the log scale, at most 45 %
--         A reading is set aside when it disagrees with more than half of the person's others. So one odd reading
--         among three goes and the two others stay; of two that disagree neither can be believed, and both go.
--         Someone with a single reading has nothing to disagree with.
-- reruns  21_set_aside_before.sql took the rows of these readings out; once a part
insert into reading.set_aside (reading_id, code)
with
looked_at as (
    select reading_id, participant, measured_at, sex, age, height_cm, weight_kg
    from reading.accepted
    where $is_whole and is_in_part(participant, $parts, $part)
    union all
    select reading_id, participant, measured_at, sex, age, height_cm, weight_kg from touched_reading where not $is_whole
),
-- people whose readings could disagree at all: one cheap pass, so that pairs are made of few
doubtful as (
    select participant
    from looked_at
    group by participant
    having count(*) > 1 and (
        min(sex) <> max(sex)
        or max(height_cm) filter (where age >= 20) - min(height_cm) filter (where age >= 20) > 3
        or (min(age) < 20 and max(height_cm) - min(height_cm) > 2)
        or ln(max(weight_kg) / min(weight_kg)) > 0.10
    )
),
doubted as (
    select reading_id, participant, measured_at, sex, age, height_cm, weight_kg
    from looked_at
    where participant in (select participant from doubtful)
),
pair as (
    select
        earlier.reading_id as earlier_id,
        later.reading_id as later_id,
        earlier.sex <> later.sex as sex_differs,
        case
            when earlier.age >= 20 and later.age >= 20 then abs(later.height_cm - earlier.height_cm) > 3
            else later.height_cm - earlier.height_cm not between -2 and 2 + 12 * years
        end as height_differs,
        abs(ln(later.weight_kg / earlier.weight_kg))
            > least(case when earlier.age < 20 then 0.15 else 0.10 end + 0.52 * years, 0.45) as weight_differs,
        earlier.age >= 20 as is_adult
    from doubted as earlier
    join doubted as later on later.participant = earlier.participant
        and (later.measured_at, later.reading_id) > (earlier.measured_at, earlier.reading_id)
    cross join lateral (
        select date_diff('day', earlier.measured_at, later.measured_at) / 365.25 as years
    )
),
disagreement as (
    select
        reading_id,
        count(*) as n_others,
        count_if(sex_differs) as n_sex,
        count_if(height_differs) as n_height,
        count_if(weight_differs) as n_weight,
        bool_or(is_adult) as is_adult
    from (
        select earlier_id as reading_id, sex_differs, height_differs, weight_differs, is_adult from pair
        union all
        select later_id, sex_differs, height_differs, weight_differs, is_adult from pair
    )
    group by reading_id
)
select reading_id, 'sex_changes' as code from disagreement where n_sex * 2 > n_others
union all
select reading_id, case when is_adult then 'adult_height_changes' else 'child_height_changes' end
from disagreement where n_height * 2 > n_others
union all
select reading_id, 'weight_jump' from disagreement where n_weight * 2 > n_others
order by reading_id, code;
