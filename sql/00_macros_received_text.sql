-- Temporary macros that read received text: missing marks, numbers, written units, codes, dates, pseudonyms.
-- Each gives null for text that it cannot read for certain; whether that is missing or unreadable is decided
-- in 10_normalised.sql.

-- text without the blanks around it, among them (as UTF-8 bytes) U+00A0, U+202F and the byte order mark U+FEFF
create or replace temp macro trimmed(received) as case
    when ascii(received) between 33 and 126 and ascii(right(received, 1)) between 33 and 126 then received
    else trim(received, E' \t\n\r\xC2\xA0\xE2\x80\xAF\xEF\xBB\xBF')
end;

-- is there anything to read? marks are the profile's words for "nothing measured"
create or replace temp macro is_present(received, marks) as
    received is not null and not list_contains(marks, trimmed(received));

-- A participant's number that can be one: short, and without control, direction or zero-width characters, fillers
-- and variation selectors, which nobody sees and which would make another person of the same number.
create or replace temp macro holds_unseen(received) as
    regexp_matches(trimmed(received), '[\p{Cc}\p{Cf}\p{Zl}\p{Zp}\x{034F}\x{115F}\x{1160}\x{17B4}\x{17B5}\x{180B}-\x{180F}'
        '\x{3164}\x{FE00}-\x{FE0F}\x{FFA0}\x{E0100}-\x{E01EF}]');
create or replace temp macro received_participant(received) as
    case when length(trimmed(received)) <= 200 and not holds_unseen(received) then received end;

-- an analyser's name, which pages show: likewise, and no longer than a name
create or replace temp macro received_name(received) as
    case when length(trimmed(received)) <= 80 and not holds_unseen(received) then trimmed(received) end;

-- the field's name where there was something to read and nothing was read
create or replace temp macro unread(field, quantity, received, marks) as
    case when quantity is null and is_present(received, marks) then field end;

-- A number in the profile's writing, else null. `pattern` is built from decimal and thousands, so that neither
-- 0x10, 1e5, inf, nan nor a number in another writing passes: "72,5" is never 725.
create or replace temp macro received_number(received, pattern, decimal_sign, thousands_sign) as
    case when regexp_full_match(received, pattern) then
        try_cast(replace(
            case when thousands_sign = '' then received
            else replace(replace(replace(received, chr(160), ' '), chr(8239), ' '), thousands_sign, '') end,
            decimal_sign, '.') as double)
    end;
-- the same where a per cent sign may stand behind it; `pattern` allows for the sign
create or replace temp macro received_share(received, pattern, decimal_sign, thousands_sign) as
    received_number(rtrim(received, '% '), pattern, decimal_sign, thousands_sign);

-- Text with its own unit. Blanks, curly quotes, full stops of abbreviations and letter case do not matter;
-- a decimal comma is read as a point, since no thousands are written in these.
create or replace temp macro tidied_written(received) as
    regexp_replace(
        replace(replace(replace(replace(replace(replace(lower(trimmed(received)),
            '’', ''''), '′', ''''), '”', '"'), '″', '"'), '''''', '"'), ',', '.'),
        '\s+', ' ', 'g');

-- feet and inches → inches: 5'4", 5' 4, 5 ft 9 in, 5 feet and 8.11 inches; inches must be below 12
create or replace temp macro feet_and_inches_in_inches(tidied) as
    case when regexp_full_match(tidied,
            '\d{1,2} ?(?:''|ft\.?|foot|feet)(?: ?(?:and|&))? ?(?:\d|1[01])(?:\.\d+)? ?(?:"|in\.?|inch|inches)?')
    then 12 * try_cast(regexp_extract(tidied, '^(\d+)', 1) as double)
        + try_cast(regexp_extract(tidied, '^\d+\D+(\d+(?:\.\d+)?)', 1) as double)
    end;

-- metres and centimetres → cm: 1m65, 1 m 65 cm
create or replace temp macro metres_and_centimetres_cm(tidied) as
    case when regexp_full_match(tidied, '[12] ?m ?\d{2}(?: ?cm)?')
    then 100 * try_cast(regexp_extract(tidied, '^(\d)', 1) as double)
        + try_cast(regexp_extract(tidied, '^\d ?m ?(\d{2})', 1) as double)
    end;

-- stone and pounds → pounds: 11 st 4 lb, 11st 4, 11 stone 4 pounds; pounds must be below 14
create or replace temp macro stone_and_pounds_in_pounds(tidied) as
    case when regexp_full_match(tidied,
            '\d{1,2} ?(?:st\.?|stones?)(?: ?(?:and|&))? ?(?:\d|1[0-3])(?:\.\d+)? ?(?:lbs?\.?|pounds?)?')
    then 14 * try_cast(regexp_extract(tidied, '^(\d+)', 1) as double)
        + try_cast(regexp_extract(tidied, '^\d+\D+(\d+(?:\.\d+)?)', 1) as double)
    end;

-- the number and the unit's word of "165cm", "1.65 m", "71.5 kg"
create or replace temp macro amount_of(tidied) as
    try_cast(regexp_extract(tidied, '^(\d+(?:\.\d+)?) ?[a-z''"]+\.?$', 1) as double);
create or replace temp macro unit_word_of(tidied) as
    regexp_extract(tidied, '^\d+(?:\.\d+)? ?([a-z''"]+)\.?$', 1);

-- 5.3 ft may mean 5 ft 3 in, 11.4 st may mean 11 st 4 lb: such a number is read only when it is whole
create or replace temp macro has_no_decimals(tidied) as not contains(tidied, '.');

-- Written length → cm, written mass → kg. Exact by definition: 1 in = 2.54 cm, 1 lb = 0.45359237 kg.
create or replace temp macro written_length_cm(tidied) as
    case
        when feet_and_inches_in_inches(tidied) is not null then feet_and_inches_in_inches(tidied) * 254 / 100
        when metres_and_centimetres_cm(tidied) is not null then metres_and_centimetres_cm(tidied)
        when unit_word_of(tidied) in ('cm', 'cms', 'centimetre', 'centimetres', 'centimeter', 'centimeters')
            then amount_of(tidied)
        when unit_word_of(tidied) in ('m', 'metre', 'metres', 'meter', 'meters') then amount_of(tidied) * 100
        when unit_word_of(tidied) in ('mm', 'millimetre', 'millimetres', 'millimeter', 'millimeters')
            then amount_of(tidied) / 10
        when unit_word_of(tidied) in ('in', 'inch', 'inches', '"') then amount_of(tidied) * 254 / 100
        when unit_word_of(tidied) in ('ft', 'foot', 'feet', '''') and has_no_decimals(tidied)
            then amount_of(tidied) * 3048 / 100
    end;
create or replace temp macro written_mass_kg(tidied) as
    case
        when stone_and_pounds_in_pounds(tidied) is not null
            then stone_and_pounds_in_pounds(tidied) * 45359237 / 100000000
        when unit_word_of(tidied)
            in ('kg', 'kgs', 'kilo', 'kilos', 'kilogram', 'kilograms', 'kilogramme', 'kilogrammes') then amount_of(tidied)
        when unit_word_of(tidied) in ('g', 'gram', 'grams', 'gramme', 'grammes') then amount_of(tidied) / 1000
        when unit_word_of(tidied) in ('lb', 'lbs', 'pound', 'pounds') then amount_of(tidied) * 45359237 / 100000000
        when unit_word_of(tidied) in ('st', 'stone', 'stones') and has_no_decimals(tidied)
            then amount_of(tidied) * 14 * 45359237 / 100000000
    end;

-- a code of the profile → the project's word; codes is a map from the file's word, as given and in lower case
create or replace temp macro received_code(received, codes) as
    coalesce(map_extract_value(codes, received), map_extract_value(codes, lower(trimmed(received))));

-- whole years or months, floored; far outside any age stays far outside
create or replace temp macro whole_number(quantity) as
    case when quantity is not null then greatest(-1, least(9999, floor(quantity)))::smallint end;

-- A moment. Up to four formats of the profile; where two read the same text differently it cannot be read.
-- ISO 8601 where the profile names no format, or where the file carries real dates; a zone is not applied: the
-- clock at the site is what the file says.
create or replace temp macro received_iso_moment(received) as
    case
        when regexp_full_match(received, '\d{4}-\d{2}-\d{2}') then try_cast(received as timestamp)
        when regexp_full_match(trimmed(received),
            '\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2}(\.\d{1,9})?)?(Z|[+-]\d{2}(:?\d{2})?)?)?')
        then try_cast(regexp_extract(trimmed(received), '^[^Z+]{10}([T ][^Z+-]*)?', 0) as timestamp)
    end;
create or replace temp macro agreed(a, b, c, d, e) as
    case when least(a, b, c, d, e) = greatest(a, b, c, d, e) then least(a, b, c, d, e) end;
create or replace temp macro of_our_time(moment) as
    case when moment between timestamp '1900-01-01' and timestamp '2199-12-31 23:59:59.999999' then moment end;
-- zone: what a format with %z looks like, without which such a text is no moment (normalising.zone_pattern); the
-- format is the one without it. strptime would move the clock to the zone of the machine
create or replace temp macro formatted_moment(received, format, zone) as case
    when zone is null then try_strptime(received, format)
    when regexp_matches(received, zone) then try_strptime(regexp_replace(received, zone, '\1\2'), format)
end;
create or replace temp macro received_moment(
    received, format_1, format_2, format_3, format_4, zone_1, zone_2, zone_3, zone_4, is_iso_allowed
) as case
    when format_1 is null then of_our_time(received_iso_moment(received))
    when format_2 is null and not is_iso_allowed then of_our_time(formatted_moment(received, format_1, zone_1))
    else agreed(
        of_our_time(formatted_moment(received, format_1, zone_1)),
        of_our_time(formatted_moment(received, format_2, zone_2)),
        of_our_time(formatted_moment(received, format_3, zone_3)),
        of_our_time(formatted_moment(received, format_4, zone_4)),
        case when is_iso_allowed then of_our_time(received_iso_moment(received)) end
    )
end;

-- HMAC (RFC 2104) with SHA-256 of a text, the first 32 hex digits; the pads are the key XOR 36 and 5c
create or replace temp macro hmac_sha256(inner_pad, outer_pad, message) as
    sha256(outer_pad || unhex(sha256(inner_pad || message)));
create or replace temp macro pseudonym_as_written(inner_pad, outer_pad, scope, received) as
    left(hmac_sha256(inner_pad, outer_pad, encode(scope || chr(31) || trimmed(received))), 32);
-- An accent may be written as a letter with it or as a mark behind the letter: both are one person
create or replace temp macro pseudonym(inner_pad, outer_pad, scope, received) as
    pseudonym_as_written(inner_pad, outer_pad, scope, nfc_normalize(received));

-- What is kept of somebody who withdrew: a second keyed step, so that no pseudonym stands anywhere
create or replace temp macro tombstone_of(inner_pad, outer_pad, pseudonym) as
    hmac_sha256(inner_pad, outer_pad, encode('withdrawn' || chr(31) || pseudonym));

create or replace temp macro period_of(day, period_kind) as
    case when period_kind = 'quarter' then year(day) || 'Q' || quarter(day)
    else strftime(day, '%Y-%m') end;

-- Text of a cell as a message or the ledger may repeat it: numbers, dates, lengths and masses with their units,
-- and the common words of a code. Of any other text, which might name or reach a person, only the length.
create or replace temp macro shown(received) as
    case
        when received is null then null
        when length(received) <= 30 and not regexp_matches(received, '\d{9}') and regexp_full_match(lower(received),
            '(?:[^\pL@]|\b(?:kgs?|g|lbs?|pounds?|st|stones?|cms?|mm?|ft|feet|foot|in|inch|inches|and|am|pm|t|z|kcal|kj|mj|e|x|'
            'jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)\b|(?:[^\pL@]|^)(?:kgs?|lbs?|cms?|mm?|ft|in|st|t|z|e|x)\b'
            '|\d(?:kgs?|lbs?|cms?|mm?|ft|in|st|t|z|e|x))*')
        then received
        when regexp_full_match(lower(received),
            '\pL{1,2}|male|female|man|woman|men|women|boy|girl|other|unknown|divers|diverse|yes|no|true|false|on|off|none|null|'
            'nan|inf|error|homme|femme|mann|frau|männlich|weiblich|hombre|mujer|uomo|donna|vrouw')
        then received
        else 'a text of ' || length(received) || ' characters'
    end;
