"""The same figures as plain_pandas.py, with Polars: BMI bands by site and percentiles of three measures."""

import sys
from pathlib import Path

import polars as pl

COLUMNS = ["Member no.", "Measured", "Sex", "Age", "Height cm", "Weight kg", "Fat %"]
PERCENTILES = [0.03, 0.1, 0.25, 0.5, 0.75, 0.9, 0.97]
EDGES = [18.5, 25, 30, 35, 40]
BANDS = ["underweight", "normal", "overweight", "obese 1", "obese 2", "obese 3"]


def main(folder: str) -> None:
    files = sorted(Path(folder).glob("inbox/*/*.csv"))
    readings = (
        pl.scan_csv(files, include_file_paths="file")
        .select(*COLUMNS, site=pl.col("file").str.extract(r"inbox/([^/]+)/"))
        .with_columns(pl.col("Measured").str.to_datetime("%d/%m/%Y %H:%M"))
        .with_columns(quarter=pl.col("Measured").dt.truncate("1q"))
    )
    last = (
        readings.sort("Measured")
        .unique(["Member no.", "quarter"], keep="last")
        .with_columns(
            bmi=pl.col("Weight kg") * 10000 / pl.col("Height cm") ** 2, group=pl.col("Age") // 10 * 10
        )
        .collect()
    )
    counts = (
        last.filter(pl.col("Age") >= 20)
        .group_by(
            "site", "quarter", "Sex", band=pl.col("bmi").cut(EDGES, labels=BANDS, left_closed=True)
        )
        .len()
        .with_columns(share=pl.col("len") / pl.col("len").sum().over("site", "quarter", "Sex"))
    )
    figures = [
        pl.col(measure).quantile(p, "linear").alias(f"{measure} {p}")
        for measure in ("bmi", "Weight kg", "Fat %")
        for p in PERCENTILES
    ]
    of_all = last.group_by("quarter", "Sex", "group").agg(figures)
    of_sites = last.group_by("site", "quarter", "Sex", "group").agg(figures)
    rows = (of_all.height + of_sites.height) * len(PERCENTILES)
    print(counts.height, "shares,", rows, "rows of percentiles,", last.height, "people-quarters")


if __name__ == "__main__":
    main(sys.argv[1])
