"""Files that go through the SQL together: the store, the numbers and the messages are those of one file after another.

Stands on: the same files read a file at a time, by the same code with passes of one.
"""

from dataclasses import replace

import duckdb
import pytest
from invented_site import HEADER, PROFILE, SITE, House, csv

from pipeline.intake import one_pass, passes, tombstones
from pipeline.intake.pseudonyms import read_key
from pipeline.seal.pseudonym import pseudonym_of

OTHER, THIRD = "east-pier", "quay-school"
MORNING = "m{n},2025-02-03,F,35,165.0,{kg}"
IMPERIAL = PROFILE.replace('"Ht"', '"Ht", unit = "in"').replace('"Wt"', '"Wt", unit = "lb"').replace(
    '"Date"', '"Date", format = "%d/%m/%Y"'
)
SCHOOL = PROFILE.replace('"Age"', '"Age", unit = "mo"').replace('"Member"', '"Member", scope = "site"')
SCHOOL += 'bmi = { header = "BMI" }\n'
WITH_BMI, WITH_MAIL = HEADER + ",BMI", HEADER + ",Mail"


def rows(*pairs):
    return [MORNING.format(n=n, kg=kg) for n, kg in pairs]


def three_sites(folder):
    """Sites that write in three ways, and files of every fate, that correct and repeat each other."""
    folder.mkdir()
    house = House(folder, (SITE, OTHER, THIRD))
    house.profile(IMPERIAL, OTHER)
    house.profile(SCHOOL, THIRD)
    house.put("1.csv", csv(*rows((1, 60.0), (2, 61.0), (1, 60.0), (3, 62.0), (3, 62.5))))
    house.put("2.csv", csv(*rows((1, 60.0), (2, 61.5), (4, "?"))))
    house.put("3.csv", csv(*rows((2, 61.5), (2, 61.0), (5, 70.0)), "m6,2025-02-03,F,35"))
    house.put("4.csv", csv(*rows((1, 60.0), (2, 61.5))).replace("m1", "m01"))
    house.put("5.csv", csv(*rows((1, "heavy"), (2, "light"))))
    house.put("6.csv", csv(*rows((1, 60.0), (2, 61.5), (4, "?"))))  # the bytes of 2.csv
    house.put("7.csv", csv(*rows((2, 61.25)), header=HEADER.replace("Wt", "Weight")))
    house.put("8.csv", csv())
    imperial = "m1,03/02/2025,F,35,65,140", "m2,03/02/2025,M,40,70,180", "m3,03/02/2025,F,35,165,140"
    house.put("1.csv", csv(*imperial), OTHER)
    house.put("2.csv", csv("m1,03/02/2025,F,35,65,141", "m9,2025-02-03,M,40,70,180"), OTHER)
    house.put("3.csv", csv("m1,03/02/2025,F,35,65,140,anna@example.org", header=WITH_MAIL), OTHER)
    child = "m2,2025-02-03,F,130,140.0,33.0,17"  # agrees where a file prints whole numbers, and not beside 17.6
    house.put("1.csv", csv("m1,2025-02-03,F,120,135.0,32.0,17.6", child, header=WITH_BMI), THIRD)
    house.put("2.csv", csv("m1,2025-02-03,F,120,135.0,32.0,18", child, header=WITH_BMI), THIRD)
    return house


def later(house):
    """A second night: corrections of the first, and of each other."""
    house.put("1a.csv", csv(*rows((1, 60.5), (2, 61.0))))
    house.put("2a.csv", csv(*rows((1, 60.25), (2, 61.0), (3, 62.5))))
    house.put("3.csv", csv("m1,03/02/2025,F,35,65,142"), OTHER)


def store_of(house):
    tables = house.store.rows(
        "select schema_name || '.' || table_name from duckdb_tables() "
        "where schema_name in ('ledger', 'reading') and table_name <> 'inbox_file' order by all"
    )  # but for how files look, which is another one for each copy of them
    found = {name: house.store.rows(f"from {name} order by all") for (name,) in tables}
    found["in the order that they came in"] = house.accepted("reading_id")
    return found, house.archived()


def nights(house, before_second=lambda house: None):
    first = house.receive()
    later(house)
    before_second(house)
    return [first, house.receive(), house.receive()], *store_of(house)


def told_apart(found):
    """The same nights without a word of passes that broke, and those words."""
    summaries, *store = found
    words = [word for one in summaries for word in one.passes_apart]
    return ([replace(one, passes_apart=[]) for one in summaries], *store), words


@pytest.fixture
def one_by_one(tmp_path, monkeypatch):
    """Two nights of files that each are a pass of their own."""

    def made(before_second=lambda house: None, name="alone"):
        with monkeypatch.context() as patch:
            patch.setattr(passes, "FILES_AT_MOST", 1)
            house = three_sites(tmp_path / name)
            found = nights(house, before_second)
        house.store.close()
        return house, found

    return made


def with_the_key_of(of, house):
    (house.folder / "store").mkdir()
    key = house.folder / "store" / "pseudonym.key"
    key.write_bytes((of.folder / "store" / "pseudonym.key").read_bytes())
    key.chmod(0o600)
    return house


@pytest.mark.parametrize("limit", [{}, {"ROWS_AT_MOST": 4}, {"FILES_AT_MOST": 3}, {"BYTES_AT_MOST": 200}])
def test_files_together_come_out_as_one_after_the_other(one_by_one, tmp_path, monkeypatch, limit):
    alone, expected = one_by_one()
    for name, most in limit.items():
        monkeypatch.setattr(one_pass if name == "ROWS_AT_MOST" else passes, name, most)
    together = with_the_key_of(alone, three_sites(tmp_path / "together"))
    found = nights(together)
    assert found == expected
    first, second, third = expected[0]
    assert (first.files_accepted, first.files_held, first.files_refused, first.files_already_received) == (8, 3, 1, 1)
    assert (first.readings_replaced, first.rows_duplicate, first.rows_superseded) == (5, 3, 1)
    assert (second.readings_replaced, second.rows_duplicate, third.files_accepted) == (4, 2, 0)
    together.store.close()


def test_who_withdrew_leaves_every_file_of_a_pass(one_by_one, tmp_path):
    def withdraws(house):
        key = read_key(house.folder / "store" / "pseudonym.key", accepted_files=1)
        tombstones.add(house.folder / "store", [tombstones.tombstone_of(key, pseudonym_of(key, "", "m1"))])

    alone, expected = one_by_one(withdraws)
    together = with_the_key_of(alone, three_sites(tmp_path / "together"))
    assert nights(together, withdraws) == expected
    assert expected[0][1].rows_withdrawn == 4  # the first site's two new files and its held one, the other's
    together.store.close()


def broken_at(house, monkeypatch, breaks):
    """A store whose row checks fail where `breaks(names of the files of the pass)`."""
    whole = house.store.execute_file
    files = []

    def fails(name, /, **parameters):
        if name == "11_reading_checked.sql":
            passing = house.store.value("select count(*) from file_of_pass")
            files.append(passing)
            if breaks(passing):
                raise duckdb.ConversionException("Conversion Error: no file is to blame for this one")
        whole(name, **parameters)

    monkeypatch.setattr(house.store, "execute_file", fails)
    return files


def test_a_pass_that_fails_as_a_whole_is_done_file_by_file(one_by_one, tmp_path, monkeypatch):
    alone, expected = one_by_one()
    together = with_the_key_of(alone, three_sites(tmp_path / "together"))
    passing = broken_at(together, monkeypatch, lambda files: files > 1)
    found, words = told_apart(nights(together))
    assert found == expected and max(passing) > 3 and passing.count(1) > 8
    assert set(words) == {"ConversionException"} and told_apart(expected)[1] == []
    together.store.close()


def test_what_comes_before_the_file_that_fails_is_filed_and_nothing_after_it(house, monkeypatch):
    for name in "abc":
        house.put(f"{name}.csv", csv(*rows((name, 60.0))))
    broken_at(
        house, monkeypatch, lambda files: house.store.value("select bool_or(participant = 'mb') from received")
    )
    with pytest.raises(duckdb.ConversionException, match="no file is to blame"):
        house.receive()
    assert house.files("name", "state") == [("a.csv", "accepted")]


def test_filing_that_fails_for_all_is_done_file_by_file(one_by_one, tmp_path, monkeypatch):
    alone, expected = one_by_one()
    together = with_the_key_of(alone, three_sites(tmp_path / "together"))
    whole, tries = one_pass.filing.file_pass, []

    def fails(store, programme, files, **named):
        tries.append(len(files))
        done = whole(store, programme, files, **named) if len(files) == 1 else None
        if done is None:
            with store.transaction():
                store.execute("delete from ledger.file")
                raise OSError(28, "No space left on device")
        return done

    monkeypatch.setattr(one_pass.filing, "file_pass", fails)
    found, words = told_apart(nights(together))
    assert found == expected and max(tries) > 3 and set(words) == {"OSError"}
    together.store.close()


def test_a_pass_holds_what_follows_each_other_up_to_its_bound_and_a_large_file_alone():
    weights = {"a": 3, "b": 3, "c": 9, "d": 1, "known": 0, "e": 5, "f": 1}
    half = passes.BYTES_AT_MOST // 6  # so that 6 of these fit and 7 do not
    found = list(passes.passes(list(weights), lambda item: weights[item] * half))
    assert found == [("a", "b"), ("c",), ("d", "known", "e"), ("f",)]
    assert list(passes.passes([], lambda item: 1)) == []
    small, known = (list(passes.passes(range(600), lambda item, n=n: n)) for n in (1, 0))
    assert [len(one) for one in small] == [256, 256, 88] and [len(one) for one in known] == [600]


def test_a_file_of_a_size_that_was_accepted_weighs_nothing_and_is_looked_at_all_the_same(house):
    first = house.put("a.csv", csv(*rows((1, 60.0))))
    house.receive()
    same_size = house.put("b.csv", csv(*rows((2, 61.0))))
    weight = passes.weight_of_new({(SITE, first.stat().st_size)})
    arrival = passes.Arrival(SITE, same_size, "b.csv")
    assert weight(arrival) == 0 and weight(replace(arrival, site=OTHER)) == same_size.stat().st_size
    assert weight(replace(arrival, path=same_size.with_name("gone.csv"))) == 0
    assert house.receive().files_accepted == 1


def test_each_file_of_a_pass_is_checked_by_the_day_of_its_own_run_and_by_its_own_print_step(macros):
    """As in a rebuild, where a pass may hold files of several runs."""
    macros.execute("""create or replace temp table file_of_pass as
        select *, 0.1::double as height_step_cm, 0.1::double as weight_step_kg, 0.1::double as mass_step_kg,
        0.1::double as percent_step
        from (values (1, date '2025-02-02'), (2, date '2025-02-03')) as listed (file, as_of)""")
    macros.execute_file("09_normalised.sql")
    macros.execute("""insert into normalised by name
        select file, 2 as line, 'm' as participant, date '2025-02-03' as measured_on, 'female' as sex, 35 as age,
        160.0 as height_cm, 65.0 as weight_kg, bmi as bmi_printed_kg_m2, []::varchar[] as unreadable
        from (values (1, 25.7), (2, 26.0)) as said (file, bmi)""")
    for name in ("11_file_facts.sql", "11_reading_checked.sql"):
        macros.execute_file(name)
    assert macros.rows("select file, codes from checked order by file") == [
        (1, ["measured_in_future", "bmi_disagrees"]),  # 25.39, and the file prints tenths
        (2, []),  # and this one whole numbers
    ]
