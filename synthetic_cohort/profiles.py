"""A layout → the text of the site profile that reads it (pipeline.programme.Profile)."""

from __future__ import annotations

from pipeline import measures
from synthetic_cohort.layouts import Layout

_ENCODING_NAMED = {
    "latin-1": "latin-1",
    "utf-16": "utf-16",
}  # UTF-8 with or without mark is left to detection


def profile_toml(layout: Layout) -> str:
    lines = ["# Invented data: a site profile of the demo programme.", f'format = "{layout.format}"']
    if layout.encoding in _ENCODING_NAMED:
        lines.append(f'encoding = "{_ENCODING_NAMED[layout.encoding]}"')
    if layout.format == "csv" and layout.delimiter != ",":
        lines.append(f'delimiter = "{layout.delimiter}"')
    if layout.decimal != ".":
        lines.append(f'decimal = "{layout.decimal}"')
    if layout.thousands:
        lines.append(f'thousands = "{layout.thousands}"')
    if layout.header_row > 1:
        lines.append(f"header_row = {layout.header_row}")
    if layout.sheet:
        lines.append(f'sheet = "{layout.sheet}"')
    lines += ["", "[columns]"]
    width = max(map(len, layout.headers))
    lines += [
        f"{name:<{width}} = {{ {', '.join(_column(name, header, layout))} }}"
        for name, header in layout.headers.items()
    ]
    return "\n".join(lines) + "\n"


def _column(name: str, header: str, layout: Layout) -> list[str]:
    parts = [f'header = "{header}"']
    if name == "participant":
        parts.append(f'scope = "{layout.scope}"')
    if name == "measured_on" and layout.date_format:
        parts.append(f'format = "{layout.date_format}"')
    if name == "sex":
        parts.append(_codes((layout.sex_words[word], word) for word in ("female", "male")))
    if name == "athlete_mode":
        parts.append(_codes((layout.yes_no_words[word], word) for word in ("yes", "no")))
    unit = unit_of(name, layout)
    if unit:
        parts.append(f'unit = "{unit}"')
        step = layout.height_step if name == "height" else float(measures.UNITS[unit].step)
        if step != float(measures.UNITS[unit].step):
            parts.append(f"resolution = {step}")
    if layout.written_units and name in ("height", "weight"):
        parts.append("written_units = true")
    return parts


def unit_of(name: str, layout: Layout) -> str:
    """The UCUM unit in which a site writes a field; empty for what has none."""
    field = measures.FIELDS[name]
    special = {
        "height": layout.height_unit,
        "age": layout.age_unit,
        "basal_metabolic_rate": layout.energy_unit,
    }
    return special.get(name, layout.mass_unit if field.dimension == "mass" else field.unit)


def _codes(pairs) -> str:
    return "codes = { " + ", ".join(f'"{found}" = "{meant}"' for found, meant in pairs) + " }"
