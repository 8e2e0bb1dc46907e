"""The last step of a run: publish, unless the publication that stands says all that a new one would."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path

import dashboards
from pipeline.programme import Programme
from pipeline.release.basis import basis_of, noise_in
from pipeline.release.standing import changed_files, read_standing, remember
from pipeline.release.unsuppressed import Unsuppressed
from pipeline.release.versions import LATEST, clear_what_was_cut_off
from pipeline.store import Store


@dataclass(frozen=True)
class Publication:
    """`published/latest`, and the day that its pages name."""

    path: Path
    as_of: date
    is_new: bool
    changed_before: tuple[str, ...] = ()  # files of the one before that were not as they had been written

    def sentence(self) -> str:
        if self.is_new:
            return f"published as of {self.as_of}"
        return f"nothing new to publish: published/latest stays as it was made as of {self.as_of}"


def bring_up_to_date(
    store: Store,
    programme: Programme,
    as_of: date,
    *,
    is_day_given: bool,
    is_asked_for: bool,
    progress: Callable[[int, int, str], None],
) -> Publication:
    """`published/latest` as one made now would be, or as it stands where that says the same.

    is_day_given: somebody gave `as_of`, and the pages shall name it; else it is the machine's, and pages that are as
    true today as on the day that they name may stay. is_asked_for: publish in any case.
    Errors   as for release.publish.
    """
    results = Unsuppressed(store, programme.settings.disclosure)
    basis = basis_of(store, programme, results, as_of)
    standing = read_standing(programme)
    if standing and not is_asked_for and standing.says_all(basis, as_of, is_day_given=is_day_given):
        clear_what_was_cut_off(programme.published)
        return Publication(programme.published / LATEST, standing.as_of, is_new=False)
    from pipeline.release.publish import publish  # with disclosure control and its solvers: most of a second

    changed = () if standing else tuple(changed_files(programme))
    build_pages = dashboards.build_pages
    if standing and standing.basis["program"] == basis["program"] and standing.assets.is_dir():
        build_pages = partial(build_pages, assets=standing.assets)
    made = publish(
        store, programme, as_of, build_pages=build_pages, results=results,
        standing=standing.takeover() if standing else None, progress=progress,
    )  # fmt: skip
    basis |= {"noise": noise_in(store, programme, as_of)}  # some may have been drawn just now
    remember(programme, basis, made.contents, made.makings)
    return Publication(made.path, as_of, is_new=True, changed_before=changed)
