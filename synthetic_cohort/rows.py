"""The rows of a file before they are written: printed values beside the truth of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_cohort.bodies import Bodies
from synthetic_cohort.people import People
from synthetic_cohort.printout import Printed
from synthetic_cohort.visits import Visits

NO_LINK = -1


@dataclass
class Rows:
    """One element a row, every array of one length. A nan or -1 is a value that is missing (see Printed).

    `values` holds what will stand in the file, in the site's units; `truth` what is true of the reading.
    `fault` indexes faults.KINDS (0: none); `field`, `found` and `true` say what it did. Two rows with one `link`
    belong together: a row and its copy, or a wrong row and its correction. `key` is the place in the file.
    """

    values: dict[str, np.ndarray]
    truth: dict[str, np.ndarray]
    fault: np.ndarray
    field: np.ndarray
    found: np.ndarray
    true: np.ndarray
    link: np.ndarray
    key: np.ndarray

    def __len__(self) -> int:
        return len(self.fault)

    def take(self, index: np.ndarray) -> Rows:
        return Rows(
            {name: array[index] for name, array in self.values.items()},
            {name: array[index] for name, array in self.truth.items()},
            self.fault[index],
            self.field[index],
            self.found[index],
            self.true[index],
            self.link[index],
            self.key[index],
        )

    def followed_by(self, other: Rows) -> Rows:
        def joined(one, two):
            return np.concatenate([one, two])

        return Rows(
            {name: joined(self.values[name], other.values[name]) for name in self.values},
            {name: joined(self.truth[name], other.truth[name]) for name in self.truth},
            joined(self.fault, other.fault),
            joined(self.field, other.field),
            joined(self.found, other.found),
            joined(self.true, other.true),
            joined(self.link, other.link),
            joined(self.key, other.key),
        )

    def in_order(self) -> Rows:
        return self.take(np.argsort(self.key, kind="stable"))


def rows_of(
    printed: Printed, participant: np.ndarray, people: People, visits: Visits, bodies: Bodies
) -> Rows:
    """Printed readings with their truth, no row fault yet, in the order given."""
    n = len(visits)
    values = dict(
        printed.values,
        participant=participant,
        minute=printed.minute,
        sex=printed.sex,
        athlete=printed.athlete,
        device=printed.device,
    )
    truth = {
        "person": people.number[visits.person],
        "visit": visits.visit,
        "repeat": visits.repeat,
        "minute": visits.minute,
        "sex": people.is_female[visits.person].astype(np.int8),
        "age": bodies.age,
        "height_cm": bodies.height_cm,
        "weight_kg": bodies.weight_kg,
        "fat_mass_kg": bodies.fat_mass_kg,
        "programme_change_kg": bodies.programme_change_kg,
        "device": printed.device,
    }
    return Rows(
        values,
        truth,
        np.zeros(n, dtype=np.int8),
        np.full(n, -1, dtype=np.int8),
        np.full(n, np.nan),
        np.full(n, np.nan),
        np.full(n, NO_LINK, dtype=np.int64),
        np.arange(n, dtype=float),
    )
