"""Does a column hold people's names? Told by its text alone, since its header says nothing.

Two or three capitalised words are the form of "Anna Schmidt" and of "North Quay" too. Three things together tell them
apart: a value with a word of places, equipment or results is no name; most of the different values have the form; and
there are about as many of them as people, for a name belongs to one person, while a hall, a course or a level is
shared by many. In the participant's column the
form alone is enough: numbers are what stands there. In a remark a name is told by the title before it ("Mrs Dent");
one without a title is not. The bounds are the project's choice; the words are from common use, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from pipeline.seal.header_words import words_of

_FEWEST_VALUES = 5  # different ones; of fewer nothing can be said
_MOST_ARE_NAMES = 0.6  # of the different values
_ONE_A_PERSON = 0.8  # different values to different people: namesakes are rare
_FEWEST_PARTICIPANTS = 2  # one alone may be the words of a footer
_FEWEST_TITLED, _TITLED_SHARE = (
    3,
    0.1,
)  # different remarks that name somebody by a title; "Dr" alone may be a street

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
    total totals subtotal average mean median sum count summe gesamt mittelwert moyenne media somma totale gemiddelde
    end report generated printed exported page date time number
    mens womens ladies junior senior juniors seniors adult adults youth under programme program plan member members
    """
_TITLES = (
    r"(?:Mr|Mrs|Ms|Miss|Mx|Dr|Herrn?|Frau|Mme|Mlle|"
    r"Monsieur|Madame|Sra?|Srta|Don|Doña|Sig|Signora?|Dhr|Mevr|Pani?)"
)
_TITLED = re.compile(rf"(?<!\w){_TITLES}\.? (?:[A-Z]\. ?)?([A-ZÀ-ÖØ-ÞŁŚŻ][\w'’-]+)")

_NO_NAME = frozenset(word for one in _NO_NAME_WORDS.split() for word in words_of(one))


def are_full_names(values: Sequence[str], people: Sequence[str]) -> bool:
    """Are these cells full names? `people` are the participants' numbers of the same rows; equal ones are one person.

    Rows without a cell are left out of both by the caller.
    """
    different = set(values)
    if len(different) < _FEWEST_VALUES or len(different) < _ONE_A_PERSON * len(set(people)):
        return False
    return sum(map(is_name_like, different)) >= _MOST_ARE_NAMES * len(different)


def are_named_participants(values: Sequence[str], of: int | None = None) -> bool:
    """Are there names among the participants' numbers? Two different full names, or a majority of words of letters.

    `of`: how many different numbers there are, where `values` are only those of letters.
    """
    different = set(values)
    of = len(different) if of is None else of
    if sum(map(is_name_like, different)) >= _FEWEST_PARTICIPANTS:
        return True
    worded = sum(map(_is_of_name_words, different))
    return of >= _FEWEST_VALUES and worded >= _MOST_ARE_NAMES * of


def are_remarks_on_named_people(values: Sequence[str]) -> bool:
    """Do several remarks name somebody by title: "spoke to Mrs Dent"?"""
    different = set(values)
    titled = sum(names_by_title(value) for value in different)
    return titled >= max(_FEWEST_TITLED, _TITLED_SHARE * len(different))


def names_by_title(text: str) -> bool:
    """A title, and behind it a capitalised word that is none of places, equipment or results."""
    return any(_NO_NAME.isdisjoint(words_of(match.group(1))) for match in _TITLED.finditer(text))


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


def _is_of_name_words(value: str) -> bool:
    """One to three words of letters, each written as a name is, in capitals ("DENT ARTHUR") or lower ("arthur dent").

    A single word must be capitalised and otherwise lower: codes such as ABC or kd are none.
    """
    words = [word for word in value.replace(",", " ").split() if word not in _PARTICLES]
    if not 1 <= len(words) <= 3 or not all(part.isalpha() for word in words for part in _APART.split(word)):
        return False
    if not _NO_NAME.isdisjoint(words_of(value)):
        return False
    if len(words) == 1:
        return len(words[0]) > 2 and words[0][0].isupper() and words[0][1:].islower()
    return all(len(word) > 1 for word in words)


def _is_capitalised(word: str) -> bool:
    if len(word) == 2 and word[1] == ".":
        return word[0].isupper()
    parts = _APART.split(word)
    return len(word) > 1 and parts[0][:1].isupper() and all(part.isalpha() for part in parts)
