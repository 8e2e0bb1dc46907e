-- ledger.held_row: lines of this pass that were not accepted, and why
-- grain   one line of one file
-- inputs  received, checked, broken_line (all of this pass); entered (file, file_id, reader: those files
--         that are filed, and whose profile reads them); reader_headers (reader, headers: of $fields, in their order);
--         expectation (reader, code, named_field, field, expected: what each reason expects, in words)
-- keys    (file_id, line) unique
-- rule    `received` is the row as it came, header → text, without the participant's column; a column that is read
--         for two fields stands there once. Text that might
--         identify someone is not repeated: see the macro `shown`. Of a broken line no cell is repeated at all,
--         since its cells may stand in each other's columns.
-- reruns  a file is filed once: ledger.file knows its sha256
insert into ledger.held_row by name
with held as (
    select
        entered.file_id,
        entered.reader,
        received.line,
        case when broken.line is not null then [broken.code] else checked.codes end as codes,
        checked.proposal,
        broken.found as broken_found,
        broken.expected as broken_expected,
        map($fields::varchar[], list_transform([
            received.measured_on, received.sex, received.age, received.height, received.weight,
            received.clothing_weight, received.athlete_mode, received.device, received.body_fat_percent,
            received.fat_mass, received.fat_free_mass, received.muscle_mass, received.total_body_water,
            received.total_body_water_percent, received.bone_mineral_mass, received.basal_metabolic_rate,
            received.metabolic_age, received.visceral_fat_level, received.bmi, received.resting_heart_rate,
            received.cardio_hours_per_week
        ], lambda cell: shown(cell))) as cells
    from received
    join entered on entered.file = received.file
    join checked on checked.file = received.file and checked.line = received.line
    left join broken_line as broken on broken.file = received.file and broken.line = received.line
    where len(checked.codes) > 0 or broken.line is not null
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
        expectation.expected,
        reader_headers.headers
    from reasoned
    join reader_headers on reader_headers.reader = reasoned.reader
    left join expectation
        on expectation.reader = reasoned.reader
        and expectation.code = reasoned.code and expectation.named_field = reasoned.named_field
)
select
    file_id,
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
             list_zip(headers, map_values(cells)),
             lambda pair, place: pair[1] is not null and pair[2] is not null
                 and list_position(headers, pair[1]) = place)))::varchar
    end as received
from expected
order by file_id, line;
