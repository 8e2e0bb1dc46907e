"""`CITATION.cff`: how to cite a release, in the Citation File Format 1.2.0."""

from __future__ import annotations

import json
from datetime import date

VERSION = "1.2.0"


def citation(programme: str, as_of: date, software: str) -> str:
    """The file's text. Strings are written as JSON, which YAML reads as it stands: a name cannot become a key.

    Source   Citation File Format 1.2.0, schema guide (keys from memory).
    """
    lines = {
        "cff-version": VERSION,
        "message": "If you use these figures, please cite them as below, with the date.",
        "type": "dataset",
        "title": f"{programme}: aggregate body-composition figures",
        "authors": [{"name": programme}],
        "date-released": as_of.isoformat(),
        "version": as_of.isoformat(),
        "abstract": "Age and sex percentiles, prevalence by band, site comparison and data quality. Figures of small "
        f"groups are withheld. Made with {software}.",
    }
    return "".join(f"{key}: {json.dumps(value, ensure_ascii=False)}\n" for key, value in lines.items())
