"""The profile by which intake reads sealed files: made once from the site's own, and the same for each of its files."""

from __future__ import annotations

import hmac
from pathlib import Path

from pipeline.faults import Fault
from pipeline.seal.key_file import clear_unfinished
from pipeline.seal.profile import SealProfile
from pipeline.seal.sealed_file import written_once
from pipeline.seal.toml_text import toml_value

_KEPT = ("unit", "codes", "written_units", "resolution", "scope")  # of a column; the format becomes ISO 8601
_KEY_LINE = "# sealed with key "


def key_mark(key: bytes) -> str:
    """Eight hexadecimal digits that tell one key from another and nothing else of it."""
    return hmac.digest(key, b"\x1fmark of the key", "sha256").hex()[:8]


def sealed_profile_text(profile: SealProfile, key: bytes) -> str:
    """The profile's own units, codes and constants under the headers of the sealed file."""
    document = profile.document
    kept = {name: document[name] for name in ("decimal", "thousands", "missing") if name in document}
    lines = [
        f"# How sealed files of this site are read. Made by sealing from {profile.path.name}; send it once.",
        f"{_KEY_LINE}{key_mark(key)}",
        'format = "csv"',
        *(f"{name} = {toml_value(value)}" for name, value in kept.items()),
        "",
        "[columns]",
    ]
    for field in profile.sealed_fields:
        column = profile.columns.get(field, {})
        parts = {"header": field} | {name: column[name] for name in _KEPT if name in column}
        if field == "age" and profile.birth and profile.is_age_in_months:
            parts["unit"] = "mo"
        lines.append(f"{field} = {toml_value(parts)}")
    if profile.constants:
        lines += ["", "[constants]"]
        lines += [f"{name} = {toml_value(value)}" for name, value in profile.constants.items()]
    return "\n".join(lines) + "\n"


def sealed_profile_path(profile: SealProfile) -> Path:
    return profile.path.with_name(f"{profile.path.name.removesuffix('.toml')}.sealed.toml")


def require_same_seal(profile: SealProfile, text: str) -> bool:
    """Whether the sealed profile is there already, as it would be written now.

    Errors   Fault when it was made with another key, which would make a new person of everybody, or from another
             profile.
    """
    path = sealed_profile_path(profile)
    clear_unfinished(path)
    if not path.exists():
        return False
    found = path.read_text(encoding="utf-8")
    if found == text:
        return True
    if _key_line(found) != _key_line(text):
        raise Fault(
            "another key than before",
            where=str(path),
            found=f"files sealed with key {_key_line(found) or 'unknown'}; this one is {_key_line(text)}",
            expected="the same key: with another one everybody would be a new person",
            next="use that key. If it is lost or meant to change, read docs/sealing.md, tell the programme, "
            "move this file away and seal again",
        )
    raise Fault(
        "another profile than before",
        where=str(path),
        found="a sealed profile that differs from the one made now",
        expected="the same: files sealed before are read with it",
        next="move it away, seal again, and send the new one together with the file",
    )


def write_sealed_profile(profile: SealProfile, text: str) -> Path:
    path = sealed_profile_path(profile)
    with written_once(path) as file:
        file.write(text)
    return path


def _key_line(text: str) -> str:
    return next(
        (line.removeprefix(_KEY_LINE) for line in text.splitlines() if line.startswith(_KEY_LINE)), ""
    )
