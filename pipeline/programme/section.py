"""What sections are made of: known keys, fixed values, and the texts that several of them hold."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field


class Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


def shown_as_written(text: str) -> str:
    """Refuses control characters and direction marks: a name stands on every page and in every message."""
    strange = [char for char in text if not char.isprintable() and char not in "\u200c\u200d"]
    if strange:
        raise ValueError(f"no control or direction characters in a name; found U+{ord(strange[0]):04X}")
    return text


Name = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(shown_as_written)]
SiteId = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,39}$")]
VariableName = Annotated[str, Field(pattern=r"^[A-Za-z_][A-Za-z0-9_]*$")]
