"""What a file is judged by besides its bytes: this program, the settings, the profiles, who withdrew, the day."""

from __future__ import annotations

import hashlib

from pipeline.intake.setting import Setting
from pipeline.own_source import program_digest

_PACKAGES = ("pipeline", "sql")
_LIBRARIES = ("duckdb", "polars", "fastexcel", "charset-normalizer", "python-stdnum")


def judged_by(setting: Setting) -> str:
    """A digest: a file that was held or refused, and is judged by the same, is held or refused again.

    Of the day only the month counts: birthdays are known by years, and rows that lay in the future are asked for apart
    (18_fetched_before.sql). So every file is judged anew once a month, whatever rests on the day.
    """
    digest = hashlib.sha256(program_digest(_PACKAGES, _LIBRARIES).encode())
    digest.update(setting.programme.sha256.encode())  # settings and profiles
    digest.update(f"{setting.first_period} {setting.as_of:%Y-%m}\n".encode())
    for tombstone in sorted(setting.tombstones):
        digest.update(f"{tombstone}\n".encode())
    return digest.hexdigest()
