"""What `inspect` proposes for FHIR resources: most of it is settled by codes, the rest are codes that mean no field."""

from __future__ import annotations

from pathlib import Path

from pipeline import measures, observation_codes
from pipeline.intake.amounts import amount
from pipeline.intake.readers.fhir import FhirReader, shown_codes
from pipeline.programme import Limits, Profile

_MOST_LOCAL_CODES = 20


def propose(path: Path) -> tuple[list[str], list[str], list[str], list[str]]:
    """(lines of the profile, reasons, what is undecided, direct identifiers)."""
    usual = observation_codes.usual_headers()
    profile = Profile.model_validate({"format": "fhir"})
    seen = FhirReader(path, profile, Limits(), where=path.name).survey(path)
    meant = {
        token: name
        for name, header in usual.items()
        for token in observation_codes.tokens_of(header)
        if "|" in token
    }
    reasons = ["format = fhir: the lines are JSON objects with a resourceType"]
    reasons += [
        f"{meant[code]}: {amount(n, 'value')} under {code}" for code, n in seen.codes.items() if code in meant
    ]
    local = {code: n for code, n in seen.codes.items() if code not in meant}
    if local:
        reasons.append(f"not used: {', '.join(shown_codes(local, _MOST_LOCAL_CODES))}")
    lines = ['format = "fhir"', "", "[columns]"]
    lines += [f"# {code} means no field yet" for code in shown_codes(local, _MOST_LOCAL_CODES)]
    if local:
        lines.append('# name it here where it does: visceral_fat_level = { header = "system|code" }')
    undecided = []
    for field in measures.FIELDS.values():
        if field.is_required and "|" in usual[field.name] and field.name not in seen.fields:
            undecided.append(f"{field.name}: no resource gives it")
            lines.append(
                f'{field.name} = {{ header = "?" }}   # UNDECIDED: name its code as system|code, or give a value '
                "under [constants] instead"
            )
    identifying = [f"column {column}: {kind} (by its header)" for column, kind in seen.identifying.items()]
    return lines, reasons, undecided, identifying
