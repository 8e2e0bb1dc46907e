"""[limits] and [engine]: what a run may use, and where files are read."""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from pipeline.programme.section import Section
from pipeline.seal import limits


class Limits(Section):
    """What a run may use, and what a file may be."""

    memory: str = Field("2GB", pattern=r"^[0-9]+(\.[0-9]+)?\s?(MB|GB|MiB|GiB)$")
    threads: int | None = Field(None, ge=1, le=256)
    file_bytes: int = Field(limits.FILE_BYTES, ge=1)
    unpacked_bytes: int = Field(limits.UNPACKED_BYTES, ge=1)
    rows: int = Field(limits.ROWS, ge=1)
    columns: int = Field(limits.COLUMNS, ge=6)
    line_characters: int = Field(limits.LINE_CHARACTERS, ge=100, le=limits.LONGEST_LINE_CHARACTERS)


class Engine(Section):
    """Where files are read: on this machine, or on a Dask cluster that is there already."""

    kind: Literal["local", "dask"] = "local"
    scheduler: str | None = Field(None, pattern=r"^(tcp|tls|ws|wss|ucx)://.+$")
    exchange: str | None = None  # a folder or an fsspec address that this machine and the workers share
    patience_seconds: int = Field(60, ge=1, le=3600)

    @model_validator(mode="after")
    def _a_cluster_has_an_address(self) -> Engine:
        if (self.kind == "dask") != (self.scheduler is not None):
            raise ValueError('kind = "dask" and the scheduler\'s address belong together: give both or neither')
        return self
