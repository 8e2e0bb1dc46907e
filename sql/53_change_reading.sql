-- change_reading (temporary): the readings of people who were measured from a period on, narrow and numbered
-- grain   reading
-- inputs  reading.accepted, reading.set_aside, change_place; $first: period, or null for all people; $parts and $part,
--         from 0: of so many parts of the people this one
-- keys    reading_id unique, not null; fat is null where it was not printed
-- rule    Readings that are not set aside, of all periods: a person's change begins at the reading before. person is a
--         number for this part alone. who: 90 for males and 15 for each class of age, under 10, 15, 20, 40, 60 and
--         the rest.
-- reruns  replaced whole
create or replace temp table change_reading as
with
seen_since as (
    select distinct participant
    from reading.accepted
    where ($first is null or period >= $first) and is_in_part(participant, $parts, $part)
),
numbered as (
    select participant, row_number() over ()::integer as person from seen_since
)
select
    numbered.person, accepted.reading_id, accepted.measured_at, accepted.period, change_place.place,
    (90 * (accepted.sex = 'male')::integer
        + 15 * case when accepted.age < 10 then 0 when accepted.age < 15 then 1 when accepted.age < 20 then 2
                    when accepted.age < 40 then 3 when accepted.age < 60 then 4 else 5 end)::smallint as who,
    accepted.weight_kg as weight,
    fat_percent(
        accepted.body_fat_percent, accepted.fat_mass_kg, accepted.fat_free_mass_kg, accepted.weight_kg
    ) as fat
from reading.accepted as accepted
join numbered on numbered.participant = accepted.participant
join change_place on change_place.site = accepted.site and change_place.device = coalesce(accepted.device, '')
where is_in_part(accepted.participant, $parts, $part)  -- before the joins: those of the others are most
    and accepted.reading_id not in (select reading_id from reading.set_aside);
