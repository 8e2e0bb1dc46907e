"""Direct identifiers: does a file say who somebody is? Then nothing of it is kept, and no value is repeated.

By header, in English, German, French, Spanish, Italian, Dutch, Portuguese and Polish: whole words and phrases,
never parts of words, and "name" only when it is a person's ("device name" and "site name" are not). By content: a
single e-mail address in any row, since an address is never a measurement; telephone numbers or dates of birth in a
clear majority of a column's sampled rows; full names in a column that the profile does not use. But for the address,
precision first: a clean file that is refused costs a site its quarter. The bounds are the project's choice.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.faults import FileRefused, printable
from pipeline.intake.addresses import holds_address
from pipeline.intake.full_names import are_full_names
from pipeline.intake.headers import tidy, words_of
from pipeline.intake.received import Look

# Words that say it alone.
_WORDS = {
    "name of a person": """surname lastname firstname forename fullname middlename username loginname
        vorname nachname familienname zuname rufname kundenname mitgliedsname patientenname teilnehmername benutzername
        nutzername prenom apellido apellidos cognome nominativo voornaam achternaam familienaam sobrenome apelido
        apelidos imie nazwisko""",
    "e-mail address": "email emailaddress mailaddress courriel emailadresse mailadresse correo",
    "telephone number": """phone phonenumber telephone telefon telefonnummer handy handynummer mobilnummer rufnummer
        telefono telefoon telefoonnummer telefone telemovel celular cellulare tel tlf gsm cellphone mobilephone""",
    "address": """address streetaddress homeaddress street adresse anschrift wohnort wohnadresse strasse hausnummer
        direccion domicilio calle indirizzo adres straat huisnummer endereco morada ulica postcode zipcode zip plz
        postleitzahl postal kodpocztowy""",
    "date of birth": """dob birthdate birthday dateofbirth geburtsdatum geburtstag geboortedatum ddn""",
    "national, insurance or passport number": """ssn nino nhsnumber nationalid passport passportnumber reisepass
        reisepassnummer ausweisnummer personalausweis passeport pasaporte passaporto paspoort passaporte paszport
        sozialversicherungsnummer versichertennummer krankenversicherungsnummer svnr ahv nif nie dni curp cpf bsn
        burgerservicenummer pesel codicefiscale iban""",
}
# Phrases: all words, in this order, one after the other.
_PHRASES = {
    "name of a person": (
        "last name",
        "first name",
        "family name",
        "given name",
        "full name",
        "middle name",
        "user name",
        "maiden name",
        "nom de famille",
        "nom complet",
    ),
    "e-mail address": ("e mail", "mail address", "adresse mail", "correo electronico"),
    "telephone number": (
        "mobile number",
        "mobile phone",
        "cell phone",
        "contact number",
        "numero de portable",
    ),
    "address": (
        "post code",
        "zip code",
        "postal code",
        "code postal",
        "codigo postal",
        "codice postale",
        "kod pocztowy",
    ),
    "date of birth": (
        "date of birth",
        "birth date",
        "birth day",
        "born on",
        "date de naissance",
        "fecha de nacimiento",
        "fecha nacimiento",
        "data di nascita",
        "data nascita",
        "data de nascimento",
        "data nascimento",
        "data urodzenia",
        "date naissance",
        "geboren am",
    ),
    "national, insurance or passport number": (
        "national id",
        "national number",
        "national insurance",
        "insurance number",
        "insurance no",
        "social security",
        "nhs number",
        "nhs no",
        "health card",
        "identity card",
        "id card",
        "numero de securite sociale",
        "securite sociale",
        "seguridad social",
        "codice fiscale",
        "tessera sanitaria",
        "numero nacional",
    ),
}
# "name" in each language, and the things whose name identifies nobody.
_NAME = {"name", "names", "nom", "noms", "nombre", "nombres", "nome", "naam"}
_THINGS_WORDS = """
    device site file machine analyser analyzer instrument scale equipment club centre center gym studio
    facility branch location venue brand make model maker product programme program project study event
    session test measure measurement measuring parameter protocol method column field sheet table group
    team class cohort clinic school department unit region city country host computer software firmware
    app report profile course activity sport company employer organisation organization gerat geraet
    standort anlage datei filiale einrichtung klinik schule firma programm gruppe appareil salle fichier
    etablissement lieu ecole clinique groupe entreprise balance dispositivo equipo centro archivo sede
    gimnasio clinica escuela grupo empresa programa apparecchio sito struttura palestra scuola gruppo
    azienda programma macchina toestel apparaat locatie bestand vestiging sportschool kliniek groep
    bedrijf aparelho local arquivo ficheiro ginasio escola equipamento urzadzenie urzadzenia placowka
    placowki
"""
_THINGS = frozenset(_THINGS_WORDS.split())
_WORD_SETS = {kind: frozenset(words.split()) for kind, words in _WORDS.items()}
_HARMLESS_ADDRESS = ("mac address", "adresse mac")

_ADDRESS = "e-mail address"
_TELEPHONE = re.compile(r"(?:\+|00|\(?0)[\d ()./-]{7,20}")
_DATE = re.compile(
    r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?:[T ].*)?|(\d{1,2})[-/.](\d{1,2})[-/.](\d{4})(?:[T ].*)?"
)

_FEWEST_VALUES = 3  # of a column, to judge it by its telephone numbers or dates
_CLEAR_MAJORITY = 0.6
_MOST_DATES = 0.8
_BIRTH_YEARS = (5, 99)  # before the day of the run
_FEWEST_BIRTH_YEARS = 3  # measurement dates of one file lie in one or two


@dataclass(frozen=True)
class Finding:
    """One column, or one line, that says who somebody is."""

    column: str  # its header; the number of the column where the header itself is a value; "" for a line
    kind: str
    why: str  # header, content
    line: int | None = None

    def __str__(self) -> str:
        place = f"column {printable(self.column)}" if self.line is None else f"line {self.line}"
        return f"{place}: {self.kind} (by its {self.why})"


def refuse_direct_identifiers(
    look: Look, *, where: str, as_of: date, headers: Mapping[str, str] | None = None
) -> None:
    """Errors   FileRefused naming every such column, and never a value. `headers` as for `findings`."""
    found = findings(look, as_of=as_of, headers=headers)
    if not found:
        return
    raise FileRefused(
        "refused",
        where=where,
        found="; ".join(map(str, found)),
        expected="no direct identifiers in the file",
        next="take the column out, or send a number of your own in its place, and send the file again. "
        "Nothing of this file was kept; delete it from the inbox.",
        code="direct_identifier",
    )


def findings(look: Look, *, as_of: date, headers: Mapping[str, str] | None = None) -> list[Finding]:
    """Every column with a direct identifier, in the file's order.

    `headers`: field → header of the columns that are put to use. The rows of a text file below the sample are known by
    their e-mail addresses alone, and then by the line.
    """
    fields = {tidy(header).casefold(): field for field, header in (headers or {}).items()}
    people = [
        place
        for place, header in enumerate(look.headers)
        if fields.get(tidy(header).casefold()) == "participant"
    ]
    found = []
    for place, header in enumerate(look.headers):
        kind, why = kind_of_header(header), "header"
        if not kind:
            field = fields.get(tidy(header).casefold())
            kind, why = _kind_in_sample(look, place, field, people[0] if people else None, as_of), "content"
        if kind:
            shown = f"number {place + 1}" if holds_address(header) else header.strip()
            found.append(Finding(shown or f"number {place + 1}", kind, why))
    if look.address_line is not None and not any(one.kind == _ADDRESS for one in found):
        found.append(Finding("", _ADDRESS, "content", look.address_line))
    return found


def _kind_in_sample(look: Look, place: int, field: str | None, people: int | None, as_of: date) -> str | None:
    """What kind of direct identifier the sampled cells of one column are, or None."""
    rows = [row for row in look.sample if place < len(row) and row[place] and row[place].strip()]
    values = [row[place].strip() for row in rows]
    kind = kind_of_content(
        values, as_of=as_of, is_participant=field == "participant", is_measured_on=field == "measured_on"
    )
    if kind or field:
        return kind
    numbers = [
        row[people].strip() if people is not None and people < len(row) else str(n)
        for n, row in enumerate(rows)
    ]
    return "name-like text" if are_full_names(values, numbers) else None


def kind_of_header(header: str) -> str | None:
    """What kind of direct identifier a header announces, or None."""
    if holds_address(header):
        return _ADDRESS
    words = words_of(header)
    joined = f" {' '.join(words)} "
    if any(f" {phrase} " in joined for phrase in _HARMLESS_ADDRESS):
        return None
    for kind, phrases in _PHRASES.items():
        if any(f" {phrase} " in joined for phrase in phrases):
            return kind
    for kind, listed in _WORD_SETS.items():
        if listed.intersection(words):
            return kind
    if _NAME.intersection(words) and not _THINGS.intersection(words):
        return "name of a person"
    return None


def kind_of_content(
    values: Sequence[str], *, as_of: date, is_participant: bool = False, is_measured_on: bool = False
) -> str | None:
    """What kind of direct identifier a column's values are, or None.

    One e-mail address is enough. A participant's number may begin with zeros and is no telephone number for that;
    a column of measurement dates is no column of birthdays, however old the file.
    """
    if any(map(holds_address, values)):
        return _ADDRESS
    if len(values) < _FEWEST_VALUES:
        return None
    if (
        len(set(values)) > len(values) / 2
        and _share(values, lambda value: _is_telephone(value, is_participant)) >= _CLEAR_MAJORITY
    ):
        return "telephone number"
    if not is_measured_on and _are_birthdays(values, as_of):
        return "date of birth"
    return None


def _are_birthdays(values: Sequence[str], as_of: date) -> bool:
    years = [year for year in map(_year_of, values) if year is not None]
    likely = [year for year in years if _BIRTH_YEARS[0] <= as_of.year - year <= _BIRTH_YEARS[1]]
    return len(likely) >= _MOST_DATES * len(values) and len(set(likely)) >= _FEWEST_BIRTH_YEARS


def _is_telephone(value: str, is_participant: bool) -> bool:
    digits = sum(character.isdigit() for character in value)
    if not 9 <= digits <= 15 or not _TELEPHONE.fullmatch(value) or _DATE.fullmatch(value):
        return False
    return not is_participant or value.startswith("+") or " " in value


def _year_of(value: str) -> int | None:
    match = _DATE.fullmatch(value)
    if not match:
        return None
    year, a, b = (int(part) for part in (match.group(1, 2, 3) if match.group(1) else match.group(6, 4, 5)))
    return year if min(a, b) >= 1 and max(a, b) <= 31 and min(a, b) <= 12 else None


def _share(values: Sequence[str], holds: Callable[[str], bool]) -> float:
    return sum(map(holds, values)) / len(values)
