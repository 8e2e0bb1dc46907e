"""`evenbeam position`: from a release alone, both directions."""

import polars as pl
import pytest
from scipy.special import ndtri

from pipeline.cli import main
from pipeline.measures import PERCENTILES
from pipeline.statistics.box_cox_cole_green import value_at_z


@pytest.fixture(scope="module")
def programme(tmp_path_factory):
    """A programme whose release has a women's BMI curve by LMS and a men's weight curve by regression quantiles."""
    folder = tmp_path_factory.mktemp("position") / "programme"
    assert main(["init", str(folder)]) == 0
    data = folder / "published" / "latest" / "data"
    data.mkdir(parents=True)
    z = ndtri([p / 100 for p in PERCENTILES])
    curves = [
        {"measure": measure, "sex": sex, "age": age, "percentile": p, "value": round(float(v), 2), "method": method}
        for measure, sex, age, method, lms in (
            ("bmi", "female", 34, "LMS on splines of age", (-1.0, 26.0, 0.18)),
            ("bmi", "female", 12, "LMS on splines of age", (-1.5, 18.0, 0.14)),
            ("weight", "male", 40, "regression quantiles on splines of age", (0.0, 80.0, 0.2)),
        )
        for p, v in zip(PERCENTILES, value_at_z(z, *lms), strict=True)
    ]
    pl.DataFrame(curves).write_parquet(data / "percentile_curve.parquet")
    why = {"measure": ["height"], "sex": ["male"], "why": ["too few people: under 400"]}
    pl.DataFrame(why).write_parquet(data / "curve.parquet")
    return folder


@pytest.fixture
def ask(programme, capsys):
    def run(measure, sex, age, *rest):
        status = main(
            ["position", str(programme), "--measure", measure, "--sex", sex, "--age", str(age), *map(str, rest)]
        )
        out, err = capsys.readouterr()
        return status, [line.split("\t") for line in out.splitlines()], err

    return run


def test_a_value_has_its_z_score_and_percentile_and_a_caution(ask):
    status, rows, err = ask("bmi", "female", 34, "--value", 26)
    assert status == 0
    assert rows == [
        ["value (kg/m2)", "z", "percentile", "reference"],
        ["26.00", "0.00", "50.0", "LMS on splines of age"],
    ]
    assert "no diagnosis" in err and "child" not in err


def test_a_percentile_has_its_value(ask):
    _, rows, _ = ask("bmi", "female", 34, "--percentile", 90)
    assert rows[1][:3] == [f"{value_at_z(ndtri(0.9), -1.0, 26.0, 0.18):.2f}", "1.28", "90.0"]


# de Onis et al. (2007): at 12½ years, month 150, girls; the programme's curve stands beside WHO's.
def test_a_childs_bmi_stands_on_who_reference_2007_too(ask):
    _, rows, err = ask("bmi", "female", 12, "--value", 18)
    assert [row[3] for row in rows[1:]] == ["LMS on splines of age", "WHO 2007 BMI-for-age at 150 months"]
    assert rows[1][1] == "0.00" and float(rows[2][1]) == pytest.approx(-0.11, abs=0.1)
    assert "no target for a child" in err


def test_beyond_regression_quantiles_nothing_is_said_and_no_percentile_is_0_or_100(ask):
    assert ask("weight", "male", 40, "--value", 300)[1][1][:3] == ["300.00", "beyond", "beyond"]
    assert ask("weight", "male", 40, "--percentile", 99)[1][1][:3] == ["beyond", "beyond", "99.0"]
    assert ask("bmi", "female", 34, "--value", 90)[1][1][2] == "over 99.9"
    assert ask("bmi", "female", 34, "--value", 12)[1][1][2] == "under 0.1"


@pytest.mark.parametrize(
    ("arguments", "status", "words"),
    [
        (("bmi", "female", 35, "--value", 26), 1, "an age from 12 to 34"),
        (("height", "male", 40, "--value", 180), 1, "none is published (too few people: under 400)"),
        (("bmmi", "female", 34, "--value", 26), 2, "did you mean bmi?"),
        (("bmi", "female", 34, "--value", 0), 2, "body mass index above 0 in kg/m2"),
    ],
)
def test_what_cannot_be_answered_says_why_and_what_could(ask, arguments, status, words):
    found, rows, err = ask(*arguments)
    assert (found, rows) == (status, [])
    assert words in err and "next:" in err


@pytest.mark.parametrize(
    "rest", [("--value", "nan"), ("--percentile", "100"), (), ("--value", "3", "--percentile", "4")]
)
def test_bad_usage_ends_with_2(ask, rest):
    with pytest.raises(SystemExit) as stop:
        ask("bmi", "female", 34, *rest)
    assert stop.value.code == 2


def test_without_a_release_there_is_one_clear_message(tmp_path, capsys):
    assert main(["init", str(tmp_path / "new")]) == 0
    assert main(["position", str(tmp_path / "new"), "--measure", "bmi", "--sex", "female", "--age", "34",
                 "--value", "26"]) == 1  # fmt: skip
    assert "nothing published yet" in capsys.readouterr().err
