"""The declared list and the SQL name the same codes, and the registry and the SQL the same bounds."""

import re

import pytest

from pipeline.checks import CHECKS, check_named
from pipeline.measures import FIELDS
from pipeline.store import sql_text

ROW_SQL, PERSON_SQL = sql_text("11_reading_checked.sql"), sql_text("21_reading_set_aside.sql")
OF_A_BROKEN_LINE = {
    "row_cut_off",
    "too_many_fields",
}  # given by the readers, before there are fields to check
NUMBERS = [field for field in FIELDS.values() if field.kind == "number"]


def codes_in(sql):
    """Every literal that a case or a struct gives out as a code, and the lists and prefixes, less the field."""
    given = re.findall(r"(?:then|else) '([a-z0-9_]+)(?::[a-z_]+)?'", sql)
    given += re.findall(r"code: '([a-z0-9_]+)", sql) + re.findall(r"'([a-z_]+):' \|\|", sql)
    return set(
        given + re.findall(r"then \['([a-z_]+)'\]", sql) + re.findall(r"select reading_id, '([a-z_]+)'", sql)
    )


def declared(*severities):
    return {check.code for check in CHECKS.values() if check.severity in severities}


def test_every_code_of_the_row_checks_is_declared_and_every_declared_code_is_given():
    assert codes_in(ROW_SQL) | OF_A_BROKEN_LINE == declared("hold", "flag")


def test_every_code_of_the_within_person_checks_is_declared_and_given():
    person = PERSON_SQL[PERSON_SQL.index("insert into reading.set_aside") :]
    assert codes_in(person[person.index("select reading_id, 'sex_changes'") :]) == declared("set_aside")


@pytest.mark.parametrize("check", CHECKS.values(), ids=lambda check: check.code)
def test_every_check_says_what_it_expects_and_why(check):
    assert all((check.title, check.expected, check.explanation, check.why))
    assert check.field == "" or check.field in FIELDS


def test_a_code_with_a_field_gets_that_fields_words():
    found = check_named("out_of_range:weight")
    assert (found.field, found.title, found.expected) == ("weight", "Out of range: weight", "10 to 300 kg")
    assert check_named("out_of_range:age").expected == "5 to 99 years"
    assert check_named("out_of_range:basal_metabolic_rate").expected == "400 to 5000 kilocalories a day"


def test_a_code_that_is_not_declared_is_an_error():
    with pytest.raises(KeyError):
        check_named("too_tall")
    with pytest.raises(KeyError):
        check_named("missing:shoe_size")


@pytest.mark.parametrize("field", NUMBERS, ids=lambda field: field.name)
def test_bounds_in_sql_are_those_of_the_registry_both_ends_within(checking_store, field):
    step = 1 if field.name == "age" else 0.001
    probes = [field.low - step, field.low, field.high, field.high + step]
    found = checking_store.rows(
        f"select possible_{field.name}(x) is not null from (select unnest($probes::double[]) as x)",
        {"probes": probes},
    )
    assert found == [(False,), (True,), (True,), (False,)]


@pytest.mark.parametrize("field", NUMBERS, ids=lambda field: field.name)
def test_a_value_out_of_range_is_held_by_the_name_of_its_field(check, field):
    impossible = 9999
    assert check({field.column: impossible})[0][0] == [f"out_of_range:{field.name}"]
