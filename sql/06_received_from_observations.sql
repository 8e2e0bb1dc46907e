-- received (temporary), from the coded values of one file
-- grain   one reading: subject × moment × analyser
-- inputs  observation, patient; $has_gender: may sex be taken from the patient?
-- keys    line unique: the first line whose observation has the reading's own subject, moment and analyser
-- rule    An observation that names no analyser belongs to every reading of its subject and moment. Sex, age and height
--         given for a whole day belong to every reading of that day; they make one of their own where there is none.
--         Without a subject or a moment an observation stands alone. Different values of one field are all written, so
--         that they cannot be read as one: the row is held, never guessed.
-- reruns  the caller takes the file's rows out of received before
insert into received by name
with observed as (
    select
        line, subject, moment, device, field, said,
        case when subject is null or moment is null then line end as alone,
        left(moment, 10) as day,
        coalesce(length(moment) = 10 and field in ('sex', 'age', 'height') and subject is not null, false)
            as is_of_the_day
    from observation
),
keyed as (      -- the reading that each observation would make by itself
    select subject, moment, day, device, alone, min(line) as line
    from observed where not is_of_the_day
    group by subject, moment, day, device, alone
    union all
    select subject, moment, day, null as device, null as alone, min(line) as line
    from observed
    where is_of_the_day and not exists (
        select 1 from observed as other
        where not other.is_of_the_day and other.subject = observed.subject and other.day = observed.day)
    group by subject, moment, day
),
reading as (    -- one without an analyser joins those that name one
    select subject, moment, day, device, alone, line
    from keyed
    qualify device is not null or alone is not null
        or count(device) over (partition by subject, moment, alone) = 0
),
joined as (
    select reading.line, observed.field, observed.said
    from reading join observed
        on observed.subject = reading.subject and observed.moment = reading.moment and not observed.is_of_the_day
    where observed.device is null or observed.device = reading.device
    union all
    select reading.line, observed.field, observed.said
    from reading join observed
        on observed.subject = reading.subject and observed.day = reading.day and observed.is_of_the_day
    union all
    select reading.line, observed.field, observed.said
    from reading join observed on observed.line = reading.alone and observed.alone is not null
),
told as (
    select line, field, string_agg(distinct said, '; ' order by said) as said
    from joined where field is not null
    group by line, field
),
wide as (
    select
        line,
        max(said) filter (where field = 'sex') as sex,
        max(said) filter (where field = 'age') as age,
        max(said) filter (where field = 'height') as height,
        max(said) filter (where field = 'weight') as weight,
        max(said) filter (where field = 'clothing_weight') as clothing_weight,
        max(said) filter (where field = 'athlete_mode') as athlete_mode,
        max(said) filter (where field = 'body_fat_percent') as body_fat_percent,
        max(said) filter (where field = 'fat_mass') as fat_mass,
        max(said) filter (where field = 'fat_free_mass') as fat_free_mass,
        max(said) filter (where field = 'muscle_mass') as muscle_mass,
        max(said) filter (where field = 'total_body_water') as total_body_water,
        max(said) filter (where field = 'total_body_water_percent') as total_body_water_percent,
        max(said) filter (where field = 'bone_mineral_mass') as bone_mineral_mass,
        max(said) filter (where field = 'basal_metabolic_rate') as basal_metabolic_rate,
        max(said) filter (where field = 'metabolic_age') as metabolic_age,
        max(said) filter (where field = 'visceral_fat_level') as visceral_fat_level,
        max(said) filter (where field = 'bmi') as bmi,
        max(said) filter (where field = 'resting_heart_rate') as resting_heart_rate,
        max(said) filter (where field = 'cardio_hours_per_week') as cardio_hours_per_week
    from told
    group by line
),
gendered as (
    select subject, string_agg(distinct gender, '; ' order by gender) as gender
    from patient where $has_gender and subject is not null
    group by subject
)
select
    reading.line, reading.subject as participant, reading.moment as measured_on, reading.device,
    coalesce(wide.sex, gendered.gender) as sex,
    wide.age, wide.height, wide.weight, wide.clothing_weight, wide.athlete_mode, wide.body_fat_percent, wide.fat_mass,
    wide.fat_free_mass, wide.muscle_mass, wide.total_body_water, wide.total_body_water_percent,
    wide.bone_mineral_mass, wide.basal_metabolic_rate, wide.metabolic_age, wide.visceral_fat_level, wide.bmi,
    wide.resting_heart_rate, wide.cardio_hours_per_week
from reading
left join wide on wide.line = reading.line
left join gendered on gendered.subject = reading.subject
order by reading.line;
