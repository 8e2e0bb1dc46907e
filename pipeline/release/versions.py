"""The folder `published/`: whole versions under `.versions/`, and `latest`, a symbolic link to one of them.

A version is built beside the others and becomes `latest` by one rename, so a reader finds the old one or the
new one, whole, and never a mixture. A crash leaves the old link and an unfinished folder, which the next run
clears. Only folders under a `.versions/` that carries this program's mark are ever deleted.

One process publishes at a time: whoever publishes holds the store open, and the store lets only one in.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from pipeline.durable import flush, make_folder
from pipeline.faults import Fault
from pipeline.release.contents import Contents, contents_of, digest_of

VERSIONS = ".versions"
MARK = "made-by-evenbeam"
MARK_TEXT = (
    "Versions of a release, made by `evenbeam run`. Read ../latest; whatever stands here may be deleted.\n"
)
UNFINISHED = "unfinished"
LATEST = "latest"
NEXT_LINK = ".latest.next"


@dataclass(frozen=True)
class Latest:
    """`latest`, and what is in the version that it points at."""

    path: Path
    contents: Contents


@contextmanager
def unfinished_version(published: Path) -> Iterator[Path]:
    """An empty folder to build a version in; gone after the block unless `make_latest` took it.

    Errors   Fault when `published` is a file, or holds a `latest` or a `.versions` that is not ours.
    """
    versions = published / VERSIONS
    _require_ours(published)
    make_folder(versions)
    if not (versions / MARK).exists():
        (versions / MARK).write_text(MARK_TEXT, encoding="utf-8")
    folder = versions / UNFINISHED
    _delete(folder)  # left by a run that was cut off
    folder.mkdir()
    try:
        yield folder
    finally:
        _delete(folder)


def make_latest(published: Path, folder: Path, label: str, known: Contents | None = None) -> Latest:
    """Let `latest` point at what was built in `folder`, all at once; delete the versions it replaces.

    The version's name is `label` and a digest of its content, so the same content has the same name. `known`: what is
    in those of its files that were read or digested before.
    """
    versions, latest = published / VERSIONS, published / LATEST
    flush_all(folder)
    contents = contents_of(folder, known)
    digest = digest_of(contents)
    name = f"{label}-{digest[:16]}"
    before = contents_of(versions / name) if (versions / name).is_dir() else None
    if before is not None and digest_of(before) == digest:
        contents = before
        _delete(folder)
    else:
        name = _free_name(versions, name)  # a damaged version keeps its place until it is replaced
        folder.rename(versions / name)
    flush(versions)  # the name that the link is about to rest on
    link = published / NEXT_LINK
    link.unlink(missing_ok=True)
    try:
        link.symlink_to(Path(VERSIONS) / name, target_is_directory=True)
    except OSError as error:
        raise Fault(
            "cannot publish",
            where=str(latest),
            found=f"no symbolic link can be made there ({error.strerror})",
            expected="a file system with symbolic links",
            next="move the programme to such a file system and run again",
        ) from error
    link.replace(latest)
    flush(published)
    _delete_all_but(versions, name)
    return Latest(latest, contents)


def standing_version(published: Path) -> Path | None:
    """The version that `latest` points at; None where it is no link to one of ours."""
    versions, latest = published / VERSIONS, published / LATEST
    if not latest.is_symlink() or not _is_ours(versions):
        return None
    target = latest.readlink()
    folder = published / target
    is_one_of_ours = target.parts[:1] == (VERSIONS,) and len(target.parts) == 2 and not folder.is_symlink()
    return folder if is_one_of_ours and folder.is_dir() else None


def clear_what_was_cut_off(published: Path) -> None:
    """Delete what a publication that was cut off has left beside the one that stands."""
    folder = standing_version(published)
    if folder is not None:
        (published / NEXT_LINK).unlink(missing_ok=True)
        _delete_all_but(published / VERSIONS, folder.name)


def _delete_all_but(versions: Path, name: str) -> None:
    for other in sorted(versions.iterdir()):
        if other.name not in (MARK, name):
            _delete(other)


def _require_ours(published: Path) -> None:
    versions, latest = published / VERSIONS, published / LATEST
    if published.exists() and not published.is_dir():
        raise _not_ours(published, "a file", "a folder")
    if (versions.is_symlink() or versions.exists()) and not _is_ours(versions):
        raise _not_ours(
            versions, "something evenbeam did not make", "nothing, or the folder of an earlier run"
        )
    if latest.is_symlink():
        target = latest.readlink()
        if target.parts[:1] != (VERSIONS,):
            raise _not_ours(latest, f"a link to {target}", f"a link into {VERSIONS}/")
    elif latest.exists():
        raise _not_ours(
            latest, "a folder or file evenbeam did not make", "nothing, or the link of an earlier run"
        )


def _is_ours(versions: Path) -> bool:
    """A plain folder with our mark. An empty one is ours too: a run can be cut off before it leaves the mark."""
    if versions.is_symlink() or not versions.is_dir():
        return False
    return (versions / MARK).is_file() or not any(versions.iterdir())


def _not_ours(path: Path, found: str, expected: str) -> Fault:
    return Fault(
        "cannot publish",
        where=str(path),
        found=found,
        expected=expected,
        next="move it aside and run again; nothing was deleted and nothing was published",
    )


def _free_name(versions: Path, name: str) -> str:
    taken, number = name, 1
    while (versions / taken).exists():
        number += 1
        taken = f"{name}.{number}"
    return taken


def _delete(path: Path) -> None:
    """Delete something of `.versions/`; a link there is removed, never followed."""
    if path.is_symlink() or path.is_file():
        path.unlink()
    elif path.exists():
        shutil.rmtree(path)


def flush_all(folder: Path) -> None:
    """Every file and folder onto the disk: a link must not outlive, after power loss, what it points at."""
    for path in sorted(folder.rglob("*"), reverse=True):
        flush(path)
    flush(folder)
