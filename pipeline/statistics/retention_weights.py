"""The chance of coming again, by what was known at each visit; and how like everybody those seen are."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray
from scipy import sparse
from threadpoolctl import threadpool_limits

Floats = NDArray[np.float64]

KNOWN = ("site", "sex", "age_from", "bmi_class", "visits")
_PENALTY = 10.0  # inverse strength: a weak ridge, so that a site where everybody came again does not run off
_LEAST, _MOST = 0.02, 0.995


def return_chance(strata: pl.DataFrame) -> pl.DataFrame:
    """Logistic regression of coming again on site, sex, age, BMI at entry, visits so far and change so far.

    Someone who comes again after every visit with chances p₁ … p_k stands for 1/(p₁·…·p_k) people who began alike:
    drop-out that depends on what the programme had seen of them by then is undone, drop-out that depends on what it
    never saw is not.

    Shapes   strata: columns KNOWN, change (whole percent of weight since entry), n (decided visits), came_again;
             out: KNOWN, change and chance, one row a stratum in the same order.
    Units    chance from 0 to 1, drawn in to 0.02 … 0.995.
    Missing  chance is 1 everywhere when no visit is decided, and the overall share when all or none came again.
    Errors   ValueError for more people who came again than visits.
    Source   Robins, Hernán & Brumback (2000) Epidemiology 11:550-560; Hernán & Robins, Causal Inference: What If
             (2020) ch. 12 (censoring). Checked with strata as predictors in tests/published/test_retention_weights.py
             and by simulation in tests/benchmarks/outcome_recovery.py.
    """
    n, came = strata["n"].to_numpy().astype(float), strata["came_again"].to_numpy().astype(float)
    if (came > n).any():
        i = int(np.argmax(came > n))
        raise ValueError(f"stratum {i}: {came[i]:g} came again of {n[i]:g} visits")
    if n.sum() == 0 or came.sum() in (0, n.sum()):
        chance = np.full(n.size, came.sum() / n.sum() if n.sum() else 1.0)
    else:
        chance = _fitted(_predictors(strata), n, came)
    return strata.select(*KNOWN, "change", chance=pl.Series(np.clip(chance, _LEAST, 1.0)))


def _predictors(strata: pl.DataFrame) -> sparse.csr_array:
    """(strata, predictors): a column a level but the first, and change in two parts. Nearly all of it is zeros."""
    every = np.arange(strata.height)
    change = strata["change"].to_numpy().astype(float) / 5
    columns = [
        (np.flatnonzero(strata[name].cast(pl.String) == level), 1.0)
        for name in KNOWN
        for level in strata[name].cast(pl.String).unique().sort().to_list()[1:]
    ]
    # a bend at no change, so that loss and gain may work differently
    columns += [(every, change), (every, np.maximum(change, 0.0))]
    row = np.concatenate([rows for rows, _ in columns])
    column = np.repeat(np.arange(len(columns)), [rows.size for rows, _ in columns])
    value = np.concatenate([np.broadcast_to(value, rows.shape) for rows, value in columns])
    return sparse.csr_array((value, (row, column)), shape=(strata.height, len(columns)))


def _fitted(x: sparse.csr_array, n: Floats, came: Floats) -> Floats:
    from sklearn.linear_model import LogisticRegression  # a second to import, and few commands need it

    weight = np.concatenate([came, n - came])
    has_any = np.flatnonzero(weight)
    rows, outcome = sparse.vstack([x, x], format="csr")[has_any], np.repeat([1, 0], n.size)[has_any]
    model = LogisticRegression(C=_PENALTY, solver="newton-cholesky", max_iter=200, tol=1e-8)
    with threadpool_limits(1):  # systems this small are slower on two threads than on one
        model.fit(rows, outcome, sample_weight=weight[has_any])
    return np.minimum(model.predict_proba(x)[:, 1], _MOST)


def standardised_difference(share: ArrayLike, reference: ArrayLike) -> Floats:
    """(p − q)/√((p(1 − p) + q(1 − q))/2): under 0.1 is usually taken for balance.

    Shapes   all (levels,).   Units   shares from 0 to 1.
    Missing  0 where both are 0 or both are 1, nan where one is nan.
    Source   Austin (2009) Stat Med 28:3083-3107. Checked in tests/published/test_retention_weights.py.
    """
    p, q = np.asarray(share, dtype=float), np.asarray(reference, dtype=float)
    spread = np.sqrt((p * (1 - p) + q * (1 - q)) / 2)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(p == q, 0.0, (p - q) / spread)
