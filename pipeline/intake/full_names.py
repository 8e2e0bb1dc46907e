"""Does a column hold people's full names? Told by its text alone, since its header says nothing.

Two or three capitalised words are the form of "Anna Schmidt" and of "North Quay" too. Three things together tell them
apart: a value with a word of places, equipment or results is no name; most of the different values have the form; and
there are about as many of them as people, for a name belongs to one person, while a hall, a course or a level is
shared by many. The bounds are the project's choice; the words are from common use, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.intake.headers import words_of

_FEWEST_VALUES = 5  # different ones; of fewer nothing can be said
_MOST_ARE_NAMES = 0.6  # of the different values
_ONE_A_PERSON = 0.8  # different values to different people: namesakes are rare

_PARTICLE_WORDS = "van von der den de del della di da dos du la le el al bin ibn zu ten ter y e"
_PARTICLES = frozenset(_PARTICLE_WORDS.split())
_APART = re.compile(r"[-'’]")  # within a word: Anne-Marie, O'Neill

_NO_NAME_WORDS = """
    north south east west upper lower central inner outer old new great little royal grand city town village county
    district region island islands harbour harbor quay pier dock bay beach basin port bridge river lake hill park square
    market street road avenue lane gate court house hall tower green garden gardens field fields wood woods station
    club centre center gym studio room floor pool arena stadium leisure sports sport fitness health wellness clinic
    hospital school college university campus academy department team group class course session unit ward branch office
    reception lobby building site zone area level stage phase type model series mark edition version
    body mass fat weight height muscle water bone visceral composition analysis analyser analyzer scale monitor scan
    test result results score index rate rating range high low normal average below above under over very slightly
    mildly moderately severely obese athletic athlete standard advanced basic beginner intermediate expert good poor
    fair excellent active inactive light moderate vigorous heavy slim solid regular irregular excess deficient optimal
    risk yes no not none unknown other manual automatic
    yoga pilates spin cycling rowing swimming running walking strength cardio training circuit boxing dance aerobics
    morning afternoon evening night spring summer autumn winter monday tuesday wednesday thursday friday saturday sunday
    january february march april may june july august september october november december
    manager teacher engineer nurse driver assistant officer director student retired worker technician consultant
    nord sud ost sued süd mitte haus halle platz raum saal markt hafen insel stadt dorf gruppe klasse kurs normal hoch
    niedrig sehr leicht schwer gut schlecht gauche droite centre ville salle groupe norte sur este oeste centro sala
    mens womens ladies junior senior juniors seniors adult adults youth under programme program plan member members
    """
_NO_NAME = frozenset(word for one in _NO_NAME_WORDS.split() for word in words_of(one))


def are_full_names(values: Sequence[str], people: Sequence[str]) -> bool:
    """Are these cells full names? `people` are the participants' numbers of the same rows; equal ones are one person.

    Rows without a cell are left out of both by the caller.
    """
    different = set(values)
    if len(different) < _FEWEST_VALUES or len(different) < _ONE_A_PERSON * len(set(people)):
        return False
    return sum(map(is_name_like, different)) >= _MOST_ARE_NAMES * len(different)


def is_name_like(value: str) -> bool:
    """Two or three capitalised words, none of which is a word of places, equipment or results.

    One of them may be in capitals ("SMITH John"), an initial with its full stop, or followed by a comma.
    """
    words = [word for word in value.replace(", ", " ", 1).split() if word not in _PARTICLES]
    return (
        2 <= len(words) <= 3
        and all(map(_is_capitalised, words))
        and any(not word.isupper() for word in words)
        and _NO_NAME.isdisjoint(words_of(value))
    )


def _is_capitalised(word: str) -> bool:
    if len(word) == 2 and word[1] == ".":
        return word[0].isupper()
    parts = _APART.split(word)
    return len(word) > 1 and parts[0][:1].isupper() and all(part.isalpha() for part in parts)
