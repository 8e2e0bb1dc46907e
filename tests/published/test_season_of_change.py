"""Season-free mean change against statsmodels' least squares with a sandwich over sites."""

import numpy as np
import polars as pl
import pytest
import statsmodels.api as sm

from pipeline.statistics.season_of_change import same_season

random = np.random.default_rng(12)
N = 400
MONTHS = random.choice([3, 6], N)
SITE = random.integers(0, 8, N)
ENTRY = random.uniform(0, 365.25, N)
AT = 2 * np.pi / 365.25
COS = np.cos(AT * (ENTRY + 30.4 * MONTHS)) - np.cos(AT * ENTRY)
SIN = np.sin(AT * (ENTRY + 30.4 * MONTHS)) - np.sin(AT * ENTRY)
CHANGE = -0.5 * MONTHS / 3 + 0.6 * COS + random.normal(0, 1, N) + random.normal(0, 0.3, 8)[SITE]


def products(keep=slice(None)):
    rows = pl.DataFrame({"months": MONTHS, "site": SITE.astype(str), "c": COS, "s": SIN, "y": CHANGE})[keep]
    pairs = {"cc": ("c", "c"), "ss": ("s", "s"), "cs": ("c", "s"), "cy": ("c", "y"), "sy": ("s", "y")}
    return rows.group_by("months", "site").agg(
        n=pl.len(), c=pl.col("c").sum(), s=pl.col("s").sum(), y=pl.col("y").sum(),
        **{name: (pl.col(one) * pl.col(other)).sum() for name, (one, other) in pairs.items()},
    )  # fmt: skip


def test_means_and_their_errors_are_statsmodels():
    # statsmodels OLS, cov_type="cluster" without its small-sample factor, times K/(K − 1)
    x = np.column_stack([MONTHS == 3, MONTHS == 6, COS, SIN]).astype(float)
    fit = sm.OLS(CHANGE, x).fit(cov_type="cluster", cov_kwds={"groups": SITE, "use_correction": False})
    found = same_season(products())
    for i, months in enumerate((3, 6)):
        assert found[months].value == pytest.approx(fit.params[i], abs=1e-10)
        assert found[months].variance == pytest.approx(8 / 7 * fit.cov_params()[i, i], rel=1e-8)


def test_a_season_is_taken_off():
    # everybody enters in January: the plain mean holds the season, the adjusted one cannot be told
    in_january = np.flatnonzero(ENTRY < 5)
    assert in_january.size < 30 and same_season(products(in_january)) == {}
    winter = np.flatnonzero((ENTRY < 60) & (MONTHS == 6) | (MONTHS == 3))
    plain = CHANGE[winter][MONTHS[winter] == 6].mean()
    found = same_season(products(winter))[6]
    assert abs(found.value + 1.0) < abs(plain + 1.0)  # the truth is −1


def test_one_site_or_changes_over_the_same_seasons_tell_nothing():
    rows = products()
    assert same_season(rows.filter(pl.col("site") == "0")) == {}
    still = rows.with_columns(**{name: pl.lit(0.0) for name in ("c", "s", "cc", "ss", "cs", "cy", "sy")})
    assert same_season(still) == {}
