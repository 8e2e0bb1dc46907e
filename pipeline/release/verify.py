"""A frozen folder against its manifest: every file unchanged, none missing, none extra, and the tables as described."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.faults import Fault
from pipeline.release import manifest
from pipeline.release.contents import content_of
from pipeline.release.table_schema_check import faults_of


@dataclass(frozen=True)
class Verdict:
    """What was found in one folder: a line a fault, named by what it is."""

    folder: Path
    files: int
    manifest_sha256: str
    faults: tuple[str, ...]

    @property
    def is_sound(self) -> bool:
        return not self.faults


def verify(folder: Path, *, recorded_sha256: str | None = None) -> Verdict:
    """Check a folder. `recorded_sha256` is the manifest's, as the store recorded it when the folder was frozen.

    Errors   Fault for a folder without a manifest that can be read: there is nothing to check against.
    """
    path = folder / manifest.NAME
    try:
        content = path.read_bytes()
        told = json.loads(content)
        listed = {str(file["path"]): file for file in told["files"]}
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise Fault(
            "no frozen release",
            where=str(folder),
            found="no folder" if not folder.is_dir() else f"{manifest.NAME} missing or unreadable",
            expected="a folder that `evenbeam release` froze, or a programme's settings",
            next="name the folder, such as published/releases/2025Q3",
        ) from error
    digest = hashlib.sha256(content).hexdigest()
    faults: list[str] = []
    if recorded_sha256 is not None and digest != recorded_sha256:
        faults.append(f"changed  {manifest.NAME}: not the one recorded in the store when this was frozen")
    there = {
        one.relative_to(folder).as_posix(): one
        for one in sorted(folder.rglob("*"))
        if one.is_symlink() or not one.is_dir()
    }
    for name, file in sorted(listed.items()):
        faults += _of_file(name, file, there.get(name))
    faults += [f"extra    {name}" for name in sorted(set(there) - set(listed) - {manifest.NAME})]
    if "data/datapackage.json" in there:
        faults += [f"invalid  data/{fault}" for fault in faults_of(folder / "data")]
    return Verdict(folder, len(listed), digest, tuple(faults))


def _of_file(name: str, file: dict[str, Any], path: Path | None) -> list[str]:
    if path is None:
        return [f"missing  {name}"]
    if path.is_symlink() or not path.is_file():
        return [f"changed  {name}: no regular file any more"]
    content = content_of(path)
    if content.bytes != file.get("bytes"):
        return [f"changed  {name}: {content.bytes} bytes, was {file.get('bytes')}"]
    if content.sha256 != file.get("sha256"):
        return [f"changed  {name}: same size, other content"]
    return []
