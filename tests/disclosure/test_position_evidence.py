"""What a share below a centile of the WHO reference says of children's bands, and that it goes where it says too much.

The reckoning is by hand; invented counts.
"""

import numpy as np
import polars as pl
import pytest

from pipeline.audit.audit import audit_tables
from pipeline.disclosure.cells import cells_of
from pipeline.disclosure.percentile_evidence import POSITION, evidence_of
from pipeline.disclosure.protect import protect
from pipeline.measures import BANDINGS
from pipeline.programme import Disclosure

RULES = Disclosure()
BANDS = [band.name for band in BANDINGS["bmi_child"].bands]  # cut at z -3, -2, 1 and 2
GROUP = {"period": "2025Q1", "sex": "all", "age_from": 5, "age_to": 19}


def prevalence(counts):
    whole = sum(counts)
    rows = [
        dict(
            GROUP, banding="bmi_child", band=band, population="all", site=None, n=n, denominator=whole,
            proportion=n / whole, low=0.0, high=1.0, method="invented", flag=None,
        )
        for band, n in zip(BANDS, counts, strict=True)
    ]  # fmt: skip
    return pl.DataFrame(rows, schema_overrides={"site": pl.String, "flag": pl.String})


def position(below, whole):
    rows = [
        dict(
            GROUP, percentile=centile, n=n, denominator=whole, proportion=n / whole, low=0.0, high=1.0,
            expected=centile / 100, method="invented", flag=None,
        )
        for centile, n in below.items()
    ]  # fmt: skip
    return pl.DataFrame(rows, schema_overrides={"flag": pl.String})


def percentiles(whole):
    row = dict(
        GROUP, measure="bmi_z", population="all", site=None, percentile=50, n=whole, value=0.0, low=-0.1, high=0.1,
        unit="1", method="invented", flag=None,
    )  # fmt: skip
    return pl.DataFrame([row], schema_overrides={"site": pl.String, "flag": pl.String})


def test_a_share_below_a_centile_bounds_the_people_below_the_edges_on_either_side():
    counts = (1, 4, 80, 10, 5)
    tables = {"prevalence": prevalence(counts), "percentile": percentiles(100)}
    told = evidence_of(
        cells_of(tables), tables["percentile"], np.zeros(1, dtype=bool), position({3: 7, 97: 88}, 100), 10
    )
    assert set(told.figure.tolist()) == {POSITION}
    found = {
        (int(row), bool(least), float(slack))
        for row, least, slack in zip(told.row, told.is_least, told.slack, strict=True)
    }
    assert found == {
        (0, False, 10 + 5 - 5.0),  # z -1.88: 10 to the nearest ten; at most 15 are under -2, and 5 are
        (0, True, 85 - (10 - 5.0)),  # at least 5 are under 1, and 85 are
        (1, False, 90 + 5 - 85.0),  # z 1.88
        (1, True, 95 - (90 - 5.0)),
    }


@pytest.mark.parametrize(("below", "is_withheld"), [(166, False), (164, True)])
def test_a_share_that_leaves_a_withheld_band_no_room_is_withheld(below, is_withheld):
    """161 are normal, and thinner ones are withheld with obesity beside them. 166 under the 85th centile are told as
    170: at most 175 are under z 1, so up to 14 are thinner. 164 are told as 160: at most four would be.
    """
    tables = {
        "prevalence": prevalence((2, 1, 161, 20, 16)),
        "percentile": percentiles(200),
        "who_position": position({85: below}, 200),
    }
    shown = protect(tables, RULES)
    assert shown["prevalence"]["n"].to_list()[:3] == [None, None, 161]
    assert shown["who_position"]["flag"].to_list() == (["withheld"] if is_withheld else [None])
    assert audit_tables(tables, shown, RULES).is_sound
    careless = shown | {"who_position": tables["who_position"].with_columns(n=pl.lit(10 * round(below / 10)))}
    assert audit_tables(tables, careless, RULES).is_sound is not is_withheld
