"""The invented sites of the Harbour District Movement Programme: name, kind, size and when each begins.

The first 24 are named by hand; further ones are made from two word lists, so that any programme up to
`MOST_SITES` has different names that are never a real place's on purpose.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

PROGRAMME_NAME = "Harbour District Movement Programme"

# name, kind, layout of its files (layouts.py), first quarter of readings, quarter in which the programme begins.
# A site whose programme begins after its readings has a period of measuring only: a comparison for later work.
_BY_HAND = (
    ("North Quay Leisure Centre", "gym", "full-day-first", 0, 0),
    ("Beacon Hill School", "school", "school-months", 0, 0),
    ("Lantern Street Clinic", "clinic", "sheet-dates", 0, 0),
    ("East Pier Gym", "gym", "imperial-month-first", 0, 0),
    ("Cranefield Works", "workplace", "typed-columns", 0, 3),
    ("Net Loft Community House", "community", "stones-and-feet", 0, 0),
    ("Lockside Fitness Hall", "gym", "semicolon-comma", 0, 2),
    ("Saltmarsh Health Centre", "clinic", "records", 0, 0),
    ("Gull Lane School", "school", "school-required", 0, 0),
    ("Tidewater Baths and Gym", "gym", "tabs-wide", 0, 0),
    ("Anchor Yard Offices", "workplace", "records-short", 2, 2),
    ("Estuary Hall", "community", "required-only", 0, 0),
    ("Harbour Lights Gym", "gym", "monthly-preamble", 0, 0),
    ("Ferry Road Surgery", "clinic", "sheet-imperial", 1, 1),
    ("Millpond College", "school", "school-codes", 0, 0),
    ("Ropewalk Training Rooms", "gym", "full-day-first", 0, 4),
    ("Harbour Transit Depot", "workplace", "thousands-tabs", 0, 0),
    ("Driftwood Centre", "community", "semicolon-comma", 0, 0),
    ("Breakwater Sports Hall", "gym", "imperial-month-first", 3, 3),
    ("Old Dock Clinic", "clinic", "records", 0, 3),
    ("Cooper's Wharf School", "school", "school-months", 1, 1),
    ("Chandler Street Offices", "workplace", "typed-columns", 0, 0),
    ("Quayside Club", "community", "monthly-preamble", 0, 0),
    ("Weir Gardens Centre", "community", "tabs-wide", 2, 2),
)
_NOUNS = {
    "gym": ("Gym", "Leisure Centre", "Fitness Hall", "Training Rooms"),
    "clinic": ("Clinic", "Health Centre", "Surgery", "Practice"),
    "school": ("School", "College", "Academy", "High School"),
    "workplace": ("Works", "Offices", "Depot", "Yard"),
    "community": ("Community House", "Hall", "Centre", "Club"),
}
_FIRST = (
    "Upper",
    "Lower",
    "Little",
    "Great",
    "Old",
    "New",
    "West",
    "South",
    "Inner",
    "Outer",
    "Far",
    "Near",
    "Long",
    "Short",
    "High",
    "Low",
    "Middle",
    "Hither",
    "Cross",
    "Broad",
)
_SECOND = (
    "Anchor",
    "Barnacle",
    "Beacon",
    "Bollard",
    "Buoy",
    "Capstan",
    "Cockle",
    "Cormorant",
    "Curlew",
    "Dory",
    "Eddy",
    "Flotsam",
    "Gangway",
    "Halyard",
    "Jetty",
    "Keel",
    "Lantern",
    "Limpet",
    "Mooring",
    "Mussel",
    "Oarlock",
    "Pilot",
    "Rudder",
    "Sandbar",
    "Sextant",
    "Shoal",
    "Sluice",
    "Tern",
    "Tiller",
    "Windlass",
)
MOST_SITES = len(_BY_HAND) + len(_FIRST) * len(_SECOND)

# Share of the programme's readings by kind, before a site's own factor: project's choice.
_SIZES = {"gym": 1.5, "clinic": 0.5, "school": 1.0, "workplace": 0.9, "community": 0.8}


@dataclass(frozen=True)
class Place:
    number: int  # 0 is the first site
    id: str
    name: str
    kind: str  # gym, clinic, school, workplace, community
    layout: str
    first_quarter: int  # of readings, counted from the programme's first quarter
    programme_quarter: int  # from which the programme can have an effect here
    size: float  # relative number of readings


def places(sites: int, quarters: int) -> list[Place]:
    """The programme's sites, in order.

    Errors   ValueError unless 1 <= sites <= MOST_SITES and quarters >= 1.
    """
    if not 1 <= sites <= MOST_SITES:
        raise ValueError(f"{sites} sites; there are names for 1 to {MOST_SITES}")
    if quarters < 1:
        raise ValueError(f"{quarters} quarters; a programme has at least 1")
    return [_place(number, quarters) for number in range(sites)]


def _place(number: int, quarters: int) -> Place:
    slot = number % len(_BY_HAND)
    name, kind, layout, first, programme = _BY_HAND[slot]
    if number >= len(_BY_HAND):
        name = _made_name(number - len(_BY_HAND), number // len(_BY_HAND), kind)
    last = quarters - 1
    first = min(first, last)
    # Sites of one kind differ in size by a fixed pattern, so a re-run with another seed keeps the map.
    size = _SIZES[kind] * (0.7, 1.0, 1.4, 0.85, 1.15)[number % 5] * (quarters - first) / quarters
    return Place(number, short_id(name), name, kind, layout, first, max(first, min(programme, last)), size)


def _made_name(index: int, round_: int, kind: str) -> str:
    # Both words change from one site to the next, and each pair of words comes once.
    first = _FIRST[index % len(_FIRST)]
    second = _SECOND[(index // len(_FIRST) + index % len(_FIRST)) % len(_SECOND)]
    return f"{first} {second} {_NOUNS[kind][round_ % len(_NOUNS[kind])]}"


def short_id(name: str) -> str:
    """North Quay Leisure Centre → north-quay: two words tell the sites apart."""
    words = re.sub(r"[^a-z0-9 ]", "", name.lower()).split()
    return "-".join(words[:2])


def shares(all_places: list[Place], readings: int) -> list[int]:
    """How many readings each site has: whole numbers in proportion to size that add up exactly."""
    total = sum(place.size for place in all_places)
    exact = [readings * place.size / total for place in all_places]
    counts = [int(value) for value in exact]
    by_remainder = sorted(range(len(exact)), key=lambda i: (counts[i] - exact[i], i))
    for i in by_remainder[: readings - sum(counts)]:
        counts[i] += 1
    return counts
