"""Which files wait in the sources, by the same rules as in the inbox: <source>/<site>/*, or one site's own source."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from pipeline.faults import nearest
from pipeline.intake.arrival import Arrival, PassedOver, is_unfinished, pass_over
from pipeline.intake.sources.remote_file import FILE, LINK, Fetched, OutOfReach, RemoteFile
from pipeline.intake.sources.source import Remote, Source

AT_REST_SECONDS = 60  # a file that was written to since may still be under way
MOST_AT_ONCE = 8
_LONGEST_PATH = 1000

Known = Mapping[tuple[str, str], Fetched]  # (source's url, path) → what is known of it


@dataclass
class Listing:
    found: list[Arrival] = field(default_factory=list)
    passed_over: list[PassedOver] = field(default_factory=list)


def listed(
    sources: list[Source],
    sites: Mapping[str, object],
    known: Known,
    *,
    judged_by: str,
    now: datetime,
    progress: Callable[[int, int, str], None],
) -> Listing:
    """The files of every source that can be reached, looked at side by side; the others are marked out_of_reach.

    `judged_by`, as judgement.judged_by gives it: a file that was held or refused by the same is known too.
    """
    listing = Listing()
    if not sources:
        return listing
    with ThreadPoolExecutor(min(MOST_AT_ONCE, len(sources))) as pool:
        under_way = [(source, pool.submit(source.files)) for source in sources]
        for done, (source, future) in enumerate(under_way):
            progress(done, len(sources), f"looking at source {source.name}")
            try:
                files = future.result()
            except OutOfReach:
                continue  # told at the end of intake, with those that are lost on the way
            _sort_out(source, files, sites, known, judged_by, now.timestamp(), listing)
    return listing


def _sort_out(
    source: Source,
    files: list[RemoteFile],
    sites: Mapping[str, object],
    known: Known,
    judged_by: str,
    now: float,
    listing: Listing,
) -> None:
    told: set[str] = set()
    for file in sorted(files, key=lambda file: file.parts):
        site, below = _place(source, file)
        if not below and site.startswith(".") and _is_safe(file):
            continue
        unread = _why_unread(source, file, sites, now)
        if unread is None:
            name = "/".join((source.name, *below))
            remote = _with_what_is_known(
                Remote(source, file, None, judged_by), known.get((source.settings.url, file.path)), name
            )
            listing.found.append(Arrival(site, Path(name), name, remote))
        elif unread.where not in told:  # one line a folder, however many files are in it
            told.add(unread.where)
            listing.passed_over.append(
                pass_over(unread.where, unread.found, unread.next, is_misplaced=unread.is_misplaced)
            )


@dataclass(frozen=True)
class _Unread:
    """A file that is passed over, as it is told of."""

    where: str
    found: str
    next: str
    is_misplaced: bool = True


def _place(source: Source, file: RemoteFile) -> tuple[str, tuple[str, ...]]:
    """The site of a file, and the parts of its path below the site's folder."""
    if source.settings.site:
        return source.settings.site, file.parts
    return file.parts[0], file.parts[1:]


def _why_unread(source: Source, file: RemoteFile, sites: Mapping[str, object], now: float) -> _Unread | None:
    """Why a file is passed over, or None where it is to be read."""
    where = f"{source.name}/{file.path}"
    site, below = _place(source, file)
    if not _is_safe(file):
        return _Unread(where, "a name that leads elsewhere, or cannot be written down", "rename it")
    if not below:
        return _Unread(where, "a file outside the sites' folders", "move it into the folder of its site")
    if site not in sites:
        return _Unread(
            f"{source.name}/{site}/",
            f"no site {site}{nearest(site, sites)}",
            "rename the folder, or add the site to the programme's settings",
        )
    if any(part.startswith(".") for part in below[:-1]):
        at = f"{source.name}/{site}: hidden folders"
        return _Unread(at, "hidden files", "nothing, unless readings are in them", is_misplaced=False)
    if file.kind == LINK:
        return _Unread(where, "a symbolic link", "put the file itself there")
    if file.kind != FILE:
        return _Unread(where, "not a regular file", "remove it")
    if is_unfinished(below[-1]):
        found, after = "a hidden, temporary or unfinished file", "nothing: it is read once it has its final name"
        return _Unread(where, found, after, is_misplaced=False)
    if source.is_written_in_place and 0 <= now - file.changed_at < AT_REST_SECONDS:
        found, after = "a file that was written to within the last minute", "nothing: the next run reads it"
        return _Unread(where, found, after, is_misplaced=False)
    return None


def _with_what_is_known(remote: Remote, before: Fetched | None, name: str) -> Remote:
    """Known are bytes that were accepted, and those that would be held or refused again, of which the ledger tells
    under this very name: the same bytes may lie elsewhere too, and be told of there."""
    if before is None or before.held_name not in (None, name):
        return remote
    now = remote.file.fingerprint if before.held_name is None else remote.fingerprint_when_held
    return replace(remote, known_sha256=before.sha256) if before.fingerprint == now else remote


def _is_safe(file: RemoteFile) -> bool:
    """Nothing is ever written under such a name; but it stands in the ledger, in messages and on pages."""
    return (
        len(file.path) <= _LONGEST_PATH
        and all(part not in ("", ".", "..") and "/" not in part for part in file.parts)
        and not any(0xD800 <= ord(char) <= 0xDFFF or char == "\0" for char in file.path)
    )
