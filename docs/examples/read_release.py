"""Read a release without a notebook: one question in DuckDB, the same in Polars, and its chart drawn again.

    python docs/examples/read_release.py demo/published/latest chart.html

needs duckdb, polars and altair, and nothing of evenbeam.
"""

import sys
from pathlib import Path

import altair as alt
import duckdb
import polars as pl

release, chart_file = Path(sys.argv[1]), Path(sys.argv[2])
prevalence = release / "data" / "prevalence.parquet"

# Adults in the band obesity I, all sites and both sexes, by period. A withheld figure is null: it is not zero.
found = duckdb.sql(
    """
    select period, n, denominator, proportion, low, high, flag
    from read_parquet($file)
    where banding = 'bmi_adult' and band = 'obesity_1' and population = 'all' and sex = 'all'
      and age_from = 20 and age_to = 99
    order by period
    """,
    params={"file": str(prevalence)},
)
asked = pl.DataFrame(found)

same = (
    pl.scan_parquet(prevalence)
    .filter(
        (pl.col("banding") == "bmi_adult")
        & (pl.col("band") == "obesity_1")
        & (pl.col("population") == "all")
        & (pl.col("sex") == "all")
        & (pl.col("age_from") == 20)
        & (pl.col("age_to") == 99)
    )
    .sort("period")
    .select(asked.columns)
    .collect()
)
assert same.equals(asked), "two ways to read one file"
print(asked)

base = alt.Chart(alt.Data(values=asked.drop_nulls("proportion").to_dicts())).encode(x=alt.X("period:N", title=None))
share = alt.Axis(format=".0%", title="share of adults, with its 95 % interval")
chart = base.mark_rule().encode(y=alt.Y("low:Q", axis=share), y2="high:Q") + base.mark_point(filled=True).encode(
    y="proportion:Q"
)
chart.properties(title="Obesity class I, adults aged 20–99", width=480).save(chart_file)
print(f"open {chart_file}")
