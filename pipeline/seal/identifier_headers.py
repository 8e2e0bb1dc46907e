"""What kind of direct identifier a header announces, in English, German, French, Spanish, Italian, Dutch, Portuguese
and Polish: whole words and phrases, never parts of words, and "name" only when it is a person's ("device name" and
"site name" are not). From common use, no source.
"""

from __future__ import annotations

from pipeline.seal.addresses import holds_address
from pipeline.seal.header_words import words_of

ADDRESS = "e-mail address"
NAME = "name of a person"
BIRTH = "date of birth"
TELEPHONE = "telephone number"
NATIONAL = "national, insurance or passport number"

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
    business institution inst entity manufacturer mfr county state district province scientific species animal
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


def kind_of_header(header: str) -> str | None:
    """What kind of direct identifier a header announces, or None."""
    if holds_address(header):
        return ADDRESS
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
        return NAME
    return None
