"""Standardised rates and their limits against R's epitools, run live.

R package epitools (Aragon) from Debian. Direct: Fay & Feuer (1997) Stat Med 16:791-801. Indirect: Selvin (2004),
Statistical Analysis of Epidemiologic Data, whose example of deaths is in the package's help.
"""

import numpy as np
import pytest

from pipeline.statistics.direct_standardisation import fay_feuer_interval, standardised_proportion
from pipeline.statistics.indirect_standardisation import expected_count, ratio_interval, standardised_ratio

# Deaths and people of the United States in 1960 and 1940 by age, Selvin (2004), as in help(ageadjust.indirect).
DEATHS = """
dth60 <- c(141, 926, 1253, 1080, 1869, 4891, 14956, 30888, 41725, 26501, 5928)
pop60 <- c(1784033, 7065148, 15658730, 10482916, 9939972, 10563872, 9114202, 6850263, 4702482, 1874619, 330915)
dth40 <- c(45, 201, 320, 670, 1126, 3160, 9723, 17935, 22179, 13461, 2238)
pop40 <- c(906897, 3794573, 10003544, 10629526, 9465330, 8249558, 7294330, 5022499, 2920220, 1019504, 142532)
"""


@pytest.fixture(scope="module")
def deaths(r):
    return r(
        DEATHS
        + """
direct <- ageadjust.direct(count = dth40, pop = pop40, stdpop = pop60)
indirect <- ageadjust.indirect(count = dth40, pop = pop40, stdcount = dth60, stdpop = pop60)
found <- list(dth60 = dth60, pop60 = pop60, dth40 = dth40, pop40 = pop40, direct = as.numeric(direct),
  sir = as.numeric(indirect$sir), rate = as.numeric(indirect$rate))
""",
        ["epitools"],
    )


# ageadjust.direct: crude rate, adjusted rate, gamma limits.
def test_direct_standardisation_of_deaths(deaths):
    count, people, standard = (np.array(deaths[name], dtype=float) for name in ("dth40", "pop40", "pop60"))
    _, adjusted, low, high = deaths["direct"]
    assert 1e5 * adjusted == pytest.approx(139.25, abs=0.005)  # as printed in the help
    assert standardised_proportion(count, people, standard)[0] == pytest.approx(adjusted, rel=1e-12)
    assert np.ravel(fay_feuer_interval(count, people, standard)) == pytest.approx([low, high], rel=1e-9)


# ageadjust.indirect: observed, expected, ratio. Its limits are Poisson, normal on the log scale; with 71,058 deaths, a
# thousandth of the people, the score limits of the binomial are the same to three parts in 100,000.
def test_indirect_standardisation_of_deaths(deaths):
    observed, expected, ratio, low, high = deaths["sir"]
    reference = np.array(deaths["dth60"]) / np.array(deaths["pop60"])
    found = expected_count(np.array(deaths["pop40"], dtype=float), reference)
    assert (observed, expected) == pytest.approx((71_058, 85_556.89), abs=0.005)  # as printed in the help
    assert found[0] == pytest.approx(expected, rel=1e-12)
    assert standardised_ratio([observed], found)[0] == pytest.approx(ratio, rel=1e-12)
    limits = np.ravel(ratio_interval([observed], [np.sum(deaths["pop40"])], found))
    assert limits == pytest.approx([low, high], rel=3e-5)


# A table of our own: five sites by six ages, bands from rare to common, on the weights of the WHO World Standard
# (Ahmad et al., GPE Discussion Paper 31, 2001) at ages 20-29 to 70-79.
def test_direct_standardisation_of_sites(r):
    random = np.random.default_rng(8)
    people = random.integers(15, 400, (5, 6))
    count = random.binomial(people, np.linspace(0.02, 0.4, 6))
    weight = [16.14, 14.76, 12.63, 9.92, 6.68, 3.73]
    of_r = r(
        """
found <- lapply(split(cells, cells$site), function(part)
  as.numeric(ageadjust.direct(part$count, part$people, stdpop = part$weight)))
""",
        ["epitools"],
        cells={
            "site": np.repeat(np.arange(5), 6),
            "count": count.ravel(),
            "people": people.ravel(),
            "weight": np.tile(weight, 5),
        },
    )
    rate = standardised_proportion(count, people, weight)
    low, high = fay_feuer_interval(count, people, weight)
    for site in range(5):
        assert (rate[site], low[site], high[site]) == pytest.approx(of_r[str(site)][1:], rel=1e-9)
