"""Where a FHIR resource says who somebody is: the elements of R4 that name, reach or show a person.

Found by their place, at any depth, contained resources and extensions included; no value is looked at or repeated.
Narrative text is generated from the whole resource and so usually names its patient.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

_NAME = "name of a person"
_SAYS_WHO = {
    "birthDate": "date of birth",
    "name": _NAME,
    "telecom": "telephone number or e-mail address",
    "address": "address",
    "photo": "photograph",
    "contact": _NAME,
    "authorString": _NAME,
    "valueHumanName": _NAME,
    "valueAddress": "address",
    "valueContactPoint": "telephone number or e-mail address",
}
_PEOPLE = {
    "Patient",
    "Practitioner",
    "Person",
    "RelatedPerson",
    "subject",
    "performer",
    "focus",
    "authorReference",
}
_THINGS = {"Organization", "Location", "Device", "DeviceDefinition"}  # their names and addresses are nobody's
_TELLING_EXTENSIONS = ("mothersMaidenName", "birthPlace", "birthTime")
_DEEPEST = 40


def identifying_elements(resource: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """(path of the element, what it is), such as ("Patient.birthDate", "date of birth")."""
    kind = str(resource.get("resourceType", ""))
    yield from _within(resource, kind, kind, 0)


def _within(holder: Mapping[str, Any], path: str, owner: str, depth: int) -> Iterator[tuple[str, str]]:
    for written, value in holder.items():
        key = written.removeprefix("_")  # a primitive's extensions stand under its name with an underscore
        here = f"{path}.{key}"
        kind = _kind(key, value, owner)
        if kind:
            yield here, kind
            continue
        for inner in value if isinstance(value, list) else [value]:
            if isinstance(inner, Mapping):
                if depth >= _DEEPEST:
                    yield here, "a resource nested too deeply to look through"
                    return
                yield from _within(inner, here, str(inner.get("resourceType") or key), depth + 1)


def _kind(key: str, value: Any, owner: str) -> str | None:
    if key in _SAYS_WHO and not (owner in _THINGS and key in ("name", "address", "telecom", "contact")):
        return _SAYS_WHO[key]
    if key in ("identifier", "valueIdentifier") and (owner in _PEOPLE or key == "valueIdentifier"):
        return "identifier of a person"
    if key == "display" and owner in _PEOPLE:
        return _NAME
    if key == "div" and owner == "text":
        return "narrative text, which may name a person"
    if key == "url" and str(value).endswith(_TELLING_EXTENSIONS):
        return "identifier of a person"
    return None
