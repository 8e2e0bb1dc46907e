"""TOML: a file of settings read, and a value written. The standard library reads TOML and does not write it."""

from __future__ import annotations

import json
import re
import stat
import tomllib
from pathlib import Path
from typing import Any

from pipeline.faults import SettingsFault
from pipeline.seal import limits


def read_toml(path: Path, what: str) -> dict[str, Any]:
    """The tables of a settings file; `what` says what was expected there.

    Errors   SettingsFault: no file, none that is one, larger than settings ever are, no text, no TOML.
    """
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode) or status.st_size > limits.SETTINGS_BYTES:
            raise SettingsFault(
                "no settings file",
                where=str(path),
                found=f"{status.st_size} bytes" if stat.S_ISREG(status.st_mode) else "no regular file",
                expected=f"{what}, of at most {limits.SETTINGS_BYTES} bytes",
                next="check the path",
            )
        return tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise SettingsFault(
            "no such file",
            where=str(path),
            found=error.strerror or "a file that does not open",
            expected=what,
            next="check the path",
        ) from error
    except UnicodeDecodeError as error:
        raise SettingsFault(
            "not text", where=str(path), expected=f"{what}, as UTF-8", next="save the file as UTF-8"
        ) from error
    except (ValueError, RecursionError) as error:  # TOMLDecodeError is a ValueError; so is a number of 5000 digits
        raise SettingsFault(
            "not TOML", where=str(path), found=str(error), expected=what, next="correct that line"
        ) from error


def toml_value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_key(key)} = {toml_value(inner)}" for key, inner in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(inner) for inner in value) + "]"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else json.dumps(key, ensure_ascii=False)
