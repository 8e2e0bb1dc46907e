-- ledger.held_row: this file's lines that were not accepted, and why
-- grain   one line of one file
-- inputs  received, checked, broken_line (all of this file); `expectation` (code, field, expected: what each reason
--         expects, in words); $file_id; $fields and $headers of the profile, in one order
-- keys    (file_id, line) unique
-- rule    `received` is the row as it came, header → text, without the participant's column; a column that is read
--         for two fields stands there once. Text that might
--         identify someone is not repeated: see the macro `shown`. Of a broken line no cell is repeated at all,
--         since its cells may stand in each other's columns.
-- reruns  a file is filed once: ledger.file knows its sha256
insert into ledger.held_row by name
with held as (
    select
        received.line,
        case when broken_line.line is not null then [broken_line.code] else checked.codes end as codes,
        checked.proposal,
        broken_line.found as broken_found,
        broken_line.expected as broken_expected,
        map($fields::varchar[], list_transform([
            received.measured_on, received.sex, received.age, received.height, received.weight,
            received.clothing_weight, received.athlete_mode, received.device, received.body_fat_percent,
            received.fat_mass, received.fat_free_mass, received.muscle_mass, received.total_body_water,
            received.total_body_water_percent, received.bone_mineral_mass, received.basal_metabolic_rate,
            received.metabolic_age, received.visceral_fat_level, received.bmi, received.resting_heart_rate,
            received.cardio_hours_per_week
        ], lambda cell: shown(cell))) as cells
    from received
    join checked on checked.line = received.line
    left join broken_line on broken_line.line = received.line
    where len(checked.codes) > 0 or broken_line.line is not null
),
reasoned as (
    select
        *,
        split_part(codes[1], ':', 1) as code,
        split_part(codes[1], ':', 2) as named_field
    from held
),
expected as (
    select
        reasoned.*,
        coalesce(nullif(reasoned.named_field, ''), expectation.field, '') as field,
        expectation.expected
    from reasoned
    left join expectation
        on expectation.code = reasoned.code and expectation.named_field = reasoned.named_field
)
select
    $file_id as file_id,
    line,
    codes,
    field,
    case
        when broken_found is not null then broken_found
        when code = 'missing' then coalesce(nullif(cells[field], ''), 'nothing')
        when field = 'participant' then 'a text that is not repeated here'
        else cells[field]
    end as found,
    coalesce(broken_expected, expected) as expected,
    case when broken_found is null then proposal end as proposal,
    case when broken_found is not null then '{}'
         else to_json(map_from_entries(list_filter(
             list_zip($headers::varchar[], map_values(cells)),
             lambda pair, place: pair[1] is not null and pair[2] is not null
                 and list_position($headers::varchar[], pair[1]) = place)))::varchar
    end as received
from expected;
