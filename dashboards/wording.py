"""The texts of the pages in the language they are being made in: names in, sentences out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from dashboards.catalogue import catalogue
from dashboards.english import ENGLISH

CAUTIONS = (
    "groups", "implants", "pregnancy", "alike", "hydration", "children", "eating", "equations", "came", "protection",
)  # fmt: skip
HOW = ("person", "bands", "intervals", "percentiles", "withheld", "change", "analysers", "rounding")


def _held(text: str) -> str:
    """A per cent sign stays on the line of its number, as in numbers.percent: who writes texts need not see to it."""
    return text.replace(" %", "\u00a0%")


class _Text(Mapping[str, str]):
    """Text by its name in the language of the pages that are being made."""

    def __getitem__(self, key: str) -> str:
        spoken = catalogue()
        if key not in spoken.shown:
            spoken.shown[key] = _held(spoken.form_of(key, ENGLISH[key]))
        return spoken.shown[key]

    def __iter__(self) -> Iterator[str]:
        return iter(ENGLISH)

    def __len__(self) -> int:
        return len(ENGLISH)


TEXT: Mapping[str, str] = _Text()


def say(key: str, /, **values: object) -> str:
    """The text under `key` with its placeholders filled."""
    return TEXT[key].format(**values)


def say_of(key: str, n: int, /, **values: object) -> str:
    """The text under `key` in the form that the language has for `n`: in English `key.one` for one."""
    return _held(catalogue().form_for(key, n, ENGLISH[key], ENGLISH[f"{key}.one"])).format(**values)


def titled(*names: str, **values: object) -> list[tuple[str, str]]:
    """(title, words) of cautions ("caution.groups") and of the texts on method ("how.bands")."""
    return [(TEXT[name], say(f"{name}.words", **values)) for name in names]


def unit_word(ucum: str) -> str:
    """A UCUM code as a reader writes it; nothing for a pure number, or for what is no number."""
    return "" if ucum in ("1", "none") else TEXT.get(f"unit.{ucum}", ucum)


def group_words(sex: str, age_from: int, age_to: int) -> str:
    """(female, 20, 99) → "women aged 20–99"."""
    life = "adult" if age_from >= 18 else "young" if age_to < 20 else "mixed"
    return say(f"group.{sex}.{life}", ages=f"{age_from}–{age_to}" if age_from != age_to else age_from)


def listed(items: list[str]) -> str:
    """[a, b, c] → "a, b and c"."""
    return ", ".join(items[:-1]) + TEXT["and"] + items[-1] if len(items) > 1 else "".join(items)


def percentile_title(p: int, *, is_plain: bool = False) -> str:
    """3 → "3rd"; 50 → "Middle (50th)" unless plain."""
    special = f"column.percentile.{p}"
    if special in TEXT and not is_plain:
        return say(special, p=p)
    ending = f"column.percentile.{p % 10}"
    return say(ending if ending in TEXT and p not in (11, 12, 13) else "column.percentile", p=p)
