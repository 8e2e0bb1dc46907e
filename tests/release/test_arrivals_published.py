"""What a release says of a site that is late follows from its published rows alone."""

import json
from datetime import date

import polars as pl
import pytest
from invented_store import data_quality, fill, programme_in

from pipeline.release.publish import publish
from pipeline.store import Store


@pytest.mark.parametrize(
    ("as_of", "state"),
    [
        (date(2025, 1, 31), "on_time"),  # within the period: its last day has not come
        (date(2025, 5, 1), "on_time"),  # 31 days after the last of March
        (date(2025, 5, 2), "late"),
        (date(2025, 6, 2), "silent"),
    ],
)
def test_lateness_is_reckoned_from_the_end_of_the_last_published_period(tmp_path, as_of, state):
    programme = programme_in(tmp_path)
    sites = tuple(site.model_copy(update={"expected": "monthly"}) for site in programme.settings.site)
    programme.settings = programme.settings.model_copy(update={"site": sites})
    rows = pl.concat([data_quality(), data_quality().head(1).with_columns(
        site=pl.lit("north-quay"), period=pl.lit("2025Q1"), item=pl.lit("readings"))])  # fmt: skip
    with Store.open(None) as store:
        fill(store, data_quality=rows)
        latest = publish(store, programme, as_of, build_pages=lambda folder: None).path
    sites = {site["id"]: site for site in json.loads((latest / "release.json").read_text())["sites"]}
    assert sites["north-quay"]["last_period"] == "2025Q1"
    assert sites["north-quay"]["arrival"] == state
