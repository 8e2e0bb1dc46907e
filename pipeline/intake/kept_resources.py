"""Which lines of a file of FHIR resources go with the readings that leave it.

A reading stands on many lines, which need not follow each other: its observations, those given for its whole day, and
the patient's resource. Whoever has no reading left in the file leaves it with everything that is about them.
"""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.intake.readers import fhir


def lines_that_leave(lines: Iterable[str], gone: set[int], starts: Iterable[int]) -> set[int]:
    """Numbers of the lines to empty; `gone` and `starts` are the first lines of the readings that leave, and of all."""
    about = {line: fhir.subject_and_moment(content) for line, content in enumerate(lines, start=1)}
    kept = [about[line] for line in starts if line not in gone and line in about]
    subjects, days = {subject for subject, _ in kept}, {(subject, (moment or "")[:10]) for subject, moment in kept}
    leaving = {about[line] for line in gone if line in about and None not in about[line]}
    past_days = {(subject, moment[:10]) for subject, moment in leaving} - days
    found = set(gone)
    for line, (subject, moment) in about.items():
        if subject is None:
            continue
        if subject not in subjects or (subject, moment) in leaving or (subject, moment) in past_days:
            found.add(line)
    return found
