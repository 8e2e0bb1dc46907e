"""Which files of the programme go wrong as a whole, and how: chosen once for all sites."""

from __future__ import annotations

import numpy as np

from synthetic_cohort.faults import FaultRates
from synthetic_cohort.layouts import LAYOUTS
from synthetic_cohort.places import Place

# What each fault needs of a site's layout.
_NEEDS = {
    "cut_off": lambda layout: layout.is_text,
    "totals": lambda layout: layout.format in ("csv", "tsv", "xlsx") and not layout.written_units,
    "empty": lambda layout: layout.format in ("csv", "tsv") and not layout.is_gzipped,
    "header_only": lambda layout: layout.format in ("csv", "tsv"),
    "sent_again": lambda layout: True,
    "identifiers": lambda layout: layout.format in ("csv", "tsv"),
}


def plan_file_faults(
    rng: np.random.Generator, places: list[Place], quarters: int, rates: FaultRates
) -> dict[tuple[int, int], str]:
    """(site number, quarter) → the one file fault there. Fewer are planned where there is no room."""
    wanted = {
        "cut_off": rates.cut_off_files,
        "totals": rates.totals_rows,
        "empty": rates.empty_files,
        "header_only": rates.header_only_files,
        "sent_again": rates.files_sent_again,
        "identifiers": rates.files_with_identifiers,
    }
    plan: dict[tuple[int, int], str] = {}
    for fault, count in wanted.items():
        slots = [
            (place.number, quarter)
            for place in places
            for quarter in range(place.first_quarter, quarters)
            if LAYOUTS[place.layout].by == "quarter"
            and _NEEDS[fault](LAYOUTS[place.layout])
            and (place.number, quarter) not in plan
        ]
        chosen = rng.permutation(len(slots))[:count]
        plan.update({slots[i]: fault for i in sorted(chosen)})
    return plan
