"""The published table of counts with noise. It is in a release only where the settings ask for it."""

from __future__ import annotations

from dataclasses import replace

from pipeline.release.column import AGE_FROM, AGE_TO, PERIOD, SEX, Column, Table
from pipeline.release.tables_of_counts import BAND, BANDING

_SETTINGS = "[disclosure.noise] when the period was drawn"

NOISY_COUNT = Table(
    "noisy_count",
    "Counts with noise",
    "How many people of all sites are in each BMI band, by period, sex and age group, with random noise that gives "
    "differential privacy. Every cell is here, empty ones too; n can be below 0 and must not be cut off before adding "
    "up. Drawn once, when the period was over: it does not follow later corrections.",
    "90_published_noisy_count.sql",
    ("banding", "band", "period", "sex", "age_from", "age_to"),
    (
        PERIOD,
        replace(SEX, description="female or male.", limits={"enum": ["female", "male"], "required": True}),
        AGE_FROM,
        AGE_TO,
        BANDING,
        BAND,
        Column(
            "n",
            "integer",
            "Noisy number of people",
            "People of the cell, plus noise.",
            "{person}",
            "one person once a period, in one cell; OpenDP",
        ),
        Column(
            "half_width",
            "integer",
            "Half width",
            "19 times in 20 the noise is no larger than this, up or down.",
            "{person}",
            "the distribution of the noise",
            {"minimum": 0},
        ),
        Column(
            "epsilon",
            "number",
            "Epsilon",
            "Privacy budget of one person in this period.",
            "1",
            _SETTINGS,
            {"minimum": 0},
        ),
        Column(
            "delta",
            "number",
            "Delta",
            "The share of the budget in which epsilon may be passed; 0 for none.",
            "1",
            _SETTINGS,
            {"minimum": 0},
        ),
        Column(
            "mechanism",
            "string",
            "Mechanism",
            "The distribution of the noise.",
            "none",
            "Ghosh et al., SIAM J Comput 2012;41:1673-93; Canonne et al., NeurIPS 2020",
            {"enum": ["discrete Laplace", "discrete Gaussian"], "required": True},
        ),
    ),
)
