"""Several files through the same statements: a long statement costs its planning once a pass, and not once a file.

Each file is looked at by itself (one_file.py) and its faults are its own. Rows of all stand in the same temporary
tables, under the file's place in the pass; order is look → read, those together that are written alike → normalise →
check → leave out what must not be kept ‖ file. Where a pass fails as a whole, its files go through one by one, so that
only the file whose fault it is meets it.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from pipeline.faults import printable, title_of
from pipeline.intake import filing, kept_copy, normalising, one_file, pseudonyms, received, tombstones
from pipeline.intake.amounts import amount
from pipeline.intake.one_file import FileRead
from pipeline.intake.readers import delimited_fast
from pipeline.intake.setting import Setting
from pipeline.intake.summary import IntakeSummary
from pipeline.store import Store, sql_text

ROWS_AT_MOST = 200_000  # before another file joins; bounds what is held at once, however well the files are packed

Begin = Callable[[Store, Any], FileRead]

_FILE_OF_PASS = {
    "file": pl.Int32, "way": pl.Int32, "site": pl.String, "scope": pl.String, "as_of": pl.Date,
    "first_period": pl.String, "height_step_cm": pl.Float64, "weight_step_kg": pl.Float64, "mass_step_kg": pl.Float64,
    "percent_step": pl.Float64,
}  # fmt: skip


@dataclass(frozen=True)
class Prepared:
    """A pass up to the point where the files before it matter.

    Rows of the n-th file stand under n, from 1, in `received` and `checked` of the same connection; of a pass that was
    prepared on a cluster, `received` holds those alone that are held.
    """

    items: Sequence[Any]
    files: tuple[FileRead, ...] = ()  # of the first items; the others are left, since the pass was full
    broken_by: str = ""  # title of what failed, where it failed as a whole


def prepare(store: Store, setting: Setting, items: Sequence[Any], begin: Begin) -> Prepared:
    """Read each file, normalise and check all of them. Of one file alone an error propagates."""
    files: list[FileRead] = []
    try:
        for file in _begun_together(store, items, begin):
            files.append(file)
        of_rows = [file for file in files if file.under_way]
        if of_rows:
            called = f"pass of {amount(len(of_rows), 'file')} from {of_rows[0].arrival.where}"
            files = setting.read_file(printable(called, 300), lambda: _checked(store, setting, files))
        return Prepared(items, tuple(files))
    except Exception as error:
        for file in files:
            one_file.abandon(file)
        if len(items) == 1:
            raise
        return Prepared(items, broken_by=title_of(error))


def finish(
    store: Store,
    setting: Setting,
    prepared: Prepared,
    *,
    prepare_again: Callable[[Sequence[Any]], Prepared],
    before_commit: Callable[[Store, list[int]], None] = lambda store, file_ids: None,
) -> list[IntakeSummary]:
    """File a pass, and what was left of its items, in their order; the summary of each.

    `prepare_again` prepares some of the items, in `store`; `before_commit(store, file_ids)` is called in the
    transaction, of the files of a pass that are accepted.
    """
    done: list[IntakeSummary] = []
    apart: list[str] = []
    waiting: deque[Prepared | Sequence[Any]] = deque([prepared])
    while waiting:
        first = waiting.popleft()
        one = first if isinstance(first, Prepared) else prepare_again(first)
        broken_by = one.broken_by
        taken = one.items if broken_by else one.items[: len(one.files)]
        if len(taken) < len(one.items):
            waiting.appendleft(one.items[len(taken) :])
        try:
            if not broken_by:
                done += filing.file_pass(store, setting.programme, one.files, before_commit=before_commit)
                continue
        except Exception as error:
            if len(taken) == 1:
                raise
            broken_by = title_of(error)
        apart.append(broken_by)
        waiting.extendleft([item] for item in reversed(taken))
    return [done[0] + IntakeSummary(passes_apart=apart), *done[1:]]


def _begun_together(store: Store, items: Sequence[Any], begin: Begin) -> Iterator[FileRead]:
    """The files of a pass: until it is full, or the same bytes come a second time, of which nobody knows what they are
    before the first are filed. Of those that are left to the fast way no row stands in its tables yet."""
    received.begin_pass(store)
    seen: set[tuple[str, str]] = set()
    rows = 0
    for place, item in enumerate(items, start=1):
        received.turn_to(store, place)
        file = begin(store, item)
        is_repeated = False
        if file.entry is not None and not file.is_known:
            same = file.arrival.site, file.entry.sha256
            is_repeated = same in seen
            seen.add(same)
        if is_repeated or file.fault is not None:
            received.begin(store)  # nothing of it stays among the others' rows
        if is_repeated:
            one_file.abandon(file)
            return
        yield file
        if file.under_way is not None:
            rows += file.under_way.plain.lines if file.under_way.plain else received.rows_at(store, place)
            if rows >= ROWS_AT_MOST:
                return


def _all_read(store: Store, setting: Setting, files: list[FileRead]) -> list[FileRead]:
    """Each file with its rows in the pass's tables, looked through for names, and kept; or with its fault."""
    plain = {place: file.under_way.plain for place, file in _under_way(files) if file.under_way.plain}
    at_once = delimited_fast.read(store, plain)
    worded = {file for (file,) in store.rows(sql_text("07_unnumbered_participant.sql"))}
    for place, file in _under_way(files):
        is_read = place in at_once or file.under_way.plain is None
        if not is_read or place in worded:
            received.turn_to(store, place)
        files[place - 1] = one_file.finish(store, setting, file, is_read=is_read, has_words=place in worded)
        if files[place - 1].fault is not None:
            received.turn_to(store, place)
            received.begin(store)
    return files


def _under_way(files: Sequence[FileRead]) -> list[tuple[int, FileRead]]:
    return [(place, file) for place, file in enumerate(files, start=1) if file.under_way is not None]


def _checked(store: Store, setting: Setting, files: list[FileRead]) -> list[FileRead]:
    """Fill `checked`, and take out what must not be kept."""
    files = _all_read(store, setting, files)
    if not any(file.has_rows for file in files):
        return files
    store.execute_file("09_rows_of_file.sql")
    normalising.normalise(store, _ways_of_writing(store, setting, files))
    for name in ("11_file_facts.sql", "11_reading_checked.sql"):
        store.execute_file(name)
    files = _without_leaving_lines(store, setting, files)
    store.execute_file("11_span_of_site.sql")
    return files


def _ways_of_writing(store: Store, setting: Setting, files: list[FileRead]) -> list[dict[str, Any]]:
    """Fill `file_of_pass`; returns the parameters of each way in which its files are written, in the order of `way`.

    Files of one site have one profile, and many sites export alike: their parameters are the same.
    """
    ways: dict[str, int] = {}
    found: list[dict[str, Any]] = []
    way_of_site: dict[str, int] = {}
    rows = []
    for place, file in enumerate(files, start=1):
        if not file.has_rows:
            continue
        site = file.arrival.site
        profile = setting.programme.profiles[site]
        if site not in way_of_site:
            parameters = normalising.parameters_of(
                profile, period_kind=setting.programme.settings.period, pads=setting.pads
            )
            way_of_site[site] = ways.setdefault(repr(sorted(parameters.items())), len(found))
            found += [parameters] if way_of_site[site] == len(found) else []
        scope = pseudonyms.scope_prefix(site, profile.columns["participant"].scope)
        steps = normalising.print_steps(profile).values()
        rows.append((place, way_of_site[site], site, scope, file.as_of, file.first_period, *steps))
    with store.lent("listed", pl.DataFrame(rows, schema=_FILE_OF_PASS, orient="row")):
        store.execute_file("09_file_of_pass.sql")
    return found


def _without_leaving_lines(store: Store, setting: Setting, files: list[FileRead]) -> list[FileRead]:
    """Take rows that must not be kept out of the pass and out of the kept copies, which then have other names.

    Once somebody has withdrawn, no kept copy has broken lines either: nobody can tell whose they are.
    """
    with store.lent("tombstone", tombstones.as_table(setting.tombstones)):
        store.execute_file("11_leaving_line.sql", inner_pad=setting.pads[0], outer_pad=setting.pads[1])
    leaving: dict[int, set[int]] = defaultdict(set)
    for place, line in store.rows("select file, line from leaving_line"):
        leaving[place].add(line)
    if setting.tombstones:
        for place, line in store.rows("select file, line from broken_line"):
            leaving[place].add(line)
    for place, lines in leaving.items():
        files[place - 1] = _with_other_copy(store, setting, files[place - 1], place, lines)
    if leaving:
        store.execute_file("11_without_leaving_lines.sql")
    return files


def _with_other_copy(store: Store, setting: Setting, file: FileRead, place: int, leaving: set[int]) -> FileRead:
    profile = setting.programme.profiles[file.arrival.site]
    every_line = store.rows("select line from received where file = $file", {"file": place})
    return replace(
        file,
        kept_sha256=kept_copy.without_lines(
            setting.archive,
            file.kept_sha256,
            leaving=leaving,
            every_line=[line for (line,) in every_line],
            encoding=file.encoding,
            sheet=profile.sheet_read,
            holds_resources=profile.format == "fhir",
        ),
    )
