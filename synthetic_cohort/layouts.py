"""How each kind of site writes its files: format, encoding, headers, units, codes. All wording is this project's own.

A layout is what a profile of the programme describes (profiles.py) and what site_files.py writes.
"""

from __future__ import annotations

from dataclasses import dataclass, field

_ENGLISH = {
    "participant": "Member no.",
    "measured_on": "Measured",
    "sex": "Sex",
    "age": "Age",
    "height": "Height cm",
    "weight": "Weight kg",
    "clothing_weight": "Clothes kg",
    "athlete_mode": "Athlete",
    "device": "Analyser",
    "body_fat_percent": "Fat %",
    "fat_mass": "Fat kg",
    "fat_free_mass": "Fat-free kg",
    "muscle_mass": "Muscle kg",
    "total_body_water": "Water kg",
    "total_body_water_percent": "Water %",
    "bone_mineral_mass": "Bone kg",
    "basal_metabolic_rate": "Basal kcal",
    "metabolic_age": "Metabolic age",
    "visceral_fat_level": "Visceral level",
    "bmi": "BMI",
    "resting_heart_rate": "Resting pulse",
    "cardio_hours_per_week": "Cardio h/week",
}
_REQUIRED = ("participant", "measured_on", "sex", "age", "height", "weight")
_WORDS = {"female": "Female", "male": "Male"}


@dataclass(frozen=True)
class Layout:
    id: str
    format: str  # csv, tsv, xlsx, ndjson, parquet
    headers: dict[str, str]  # field → header, in the order of the file
    date_format: str | None  # None: the file carries real dates (xlsx, parquet)
    sex_words: dict[str, str]  # female, male → the file's word
    yes_no_words: dict[str, str] = field(default_factory=lambda: {"yes": "Yes", "no": "No"})
    encoding: str = "utf-8"  # a Python codec: utf-8, utf-8-sig, utf-16, latin-1
    delimiter: str = ","
    decimal: str = "."
    thousands: str = ""
    newline: str = "\n"
    preamble: tuple[str, ...] = ()  # lines above the headers
    sheet: str | None = None
    is_gzipped: bool = False
    by: str = "quarter"  # one file a quarter or a month
    mass_unit: str = "kg"  # or [lb_av]
    height_unit: str = "cm"  # cm, m or [in_i]
    height_step: float = 0.1  # in that unit
    age_unit: str = "a"  # or mo
    energy_unit: str = "kcal/d"  # or kJ/d
    written_units: bool = False  # 11 st 4.2 lb, 5 ft 9 in
    missing: str = ""
    scope: str = "programme"  # whose numbers the participants' are
    extra: tuple[tuple[str, str], ...] = ()  # columns that no profile maps: header, text

    @property
    def has_times(self) -> bool:
        return self.date_format is None or "%H" in self.date_format

    @property
    def is_text(self) -> bool:
        return self.format in ("csv", "tsv", "ndjson")

    @property
    def header_row(self) -> int:
        return len(self.preamble) + 1

    @property
    def suffix(self) -> str:
        return f".{self.format}" + (".gz" if self.is_gzipped else "")

    @property
    def mass_step(self) -> float:
        return 0.2 if self.mass_unit == "[lb_av]" else 0.1


def _english(*fields: str, **renamed: str) -> dict[str, str]:
    return {name: renamed.get(name, _ENGLISH[name]) for name in (fields or _ENGLISH)}


def _imperial(*fields: str) -> dict[str, str]:
    return {
        name: header.replace(" kg", " lb").replace(" cm", " in") for name, header in _english(*fields).items()
    }


_BASIC = (*_REQUIRED, "body_fat_percent", "fat_mass", "fat_free_mass", "total_body_water", "bmi")

LAYOUTS: dict[str, Layout] = {
    layout.id: layout
    for layout in (
        Layout("full-day-first", "csv", _english(), "%d/%m/%Y %H:%M", _WORDS, height_step=1.0),
        Layout(
            "school-months",
            "csv",
            _english(*_REQUIRED, "body_fat_percent", participant="Pupil no.", age="Age in months"),
            "%Y-%m-%d",
            {"female": "girl", "male": "boy"},
            encoding="utf-8-sig",
            newline="\r\n",
            age_unit="mo",
            scope="site",
        ),
        Layout(
            "sheet-dates",
            "xlsx",
            _english(
                *_REQUIRED,
                "device",
                "body_fat_percent",
                "fat_mass",
                "fat_free_mass",
                "muscle_mass",
                "total_body_water",
                "total_body_water_percent",
                "bone_mineral_mass",
                "basal_metabolic_rate",
                "visceral_fat_level",
                participant="Programme number",
            ),
            None,
            {"female": "F", "male": "M"},
            sheet="Readings",
            height_step=0.5,
        ),
        Layout(
            "imperial-month-first",
            "csv",
            _imperial(),
            "%m/%d/%Y %H:%M",
            {"female": "F", "male": "M"},
            yes_no_words={"yes": "Y", "no": "N"},
            is_gzipped=True,
            mass_unit="[lb_av]",
            height_unit="[in_i]",
            height_step=0.5,
        ),
        Layout(
            "typed-columns",
            "parquet",
            {
                name: name
                for name in _ENGLISH
                if name
                not in ("athlete_mode", "resting_heart_rate", "cardio_hours_per_week", "metabolic_age")
            },
            None,
            {"female": "female", "male": "male"},
            scope="site",
        ),
        Layout(
            "stones-and-feet",
            "csv",
            {
                "measured_on": "Day",
                "participant": "Card",
                "sex": "Sex",
                "age": "Age",
                "height": "Height",
                "weight": "Weight",
                "body_fat_percent": "Body fat (%)",
                "total_body_water_percent": "Water (%)",
                "bmi": "Body mass index",
            },
            "%d %b %Y",
            {"female": "woman", "male": "man"},
            mass_unit="[lb_av]",
            height_unit="[in_i]",
            height_step=0.5,
            written_units=True,
            missing="n/a",
        ),
        Layout(
            "semicolon-comma",
            "csv",
            {
                "participant": "Teilnahmenummer",
                "measured_on": "Gemessen am",
                "device": "Waage",
                "sex": "Geschlecht",
                "age": "Alter",
                "height": "Größe cm",
                "weight": "Gewicht kg",
                "clothing_weight": "Kleidung kg",
                "athlete_mode": "Sportlich",
                "body_fat_percent": "Fettanteil %",
                "fat_mass": "Fett kg",
                "fat_free_mass": "Fettfrei kg",
                "muscle_mass": "Muskel kg",
                "total_body_water": "Wasser kg",
                "bone_mineral_mass": "Knochen kg",
                "basal_metabolic_rate": "Grundumsatz kcal",
                "bmi": "BMI",
                "resting_heart_rate": "Ruhepuls",
                "cardio_hours_per_week": "Ausdauer h/Woche",
            },
            "%d.%m.%Y %H:%M",
            {"female": "weiblich", "male": "männlich"},
            yes_no_words={"yes": "ja", "no": "nein"},
            encoding="latin-1",
            delimiter=";",
            decimal=",",
            height_step=0.5,
        ),
        Layout(
            "records",
            "ndjson",
            {
                "participant": "participant",
                "measured_on": "taken_at",
                "sex": "sex",
                "age": "age_years",
                "height": "height_m",
                "weight": "weight_kg",
                "device": "analyser",
                "body_fat_percent": "fat_percent",
                "fat_mass": "fat_kg",
                "fat_free_mass": "fat_free_kg",
                "total_body_water": "water_kg",
                "basal_metabolic_rate": "basal_kj",
                "bmi": "bmi",
                "visceral_fat_level": "visceral_level",
            },
            "%Y-%m-%dT%H:%M:%S",
            {"female": "female", "male": "male"},
            height_unit="m",
            height_step=0.01,
            energy_unit="kJ/d",
        ),
        Layout(
            "school-required",
            "csv",
            _english(*_REQUIRED, participant="Pupil", measured_on="Date"),
            "%d/%m/%Y",
            {"female": "f", "male": "m"},
            scope="site",
        ),
        Layout(
            "tabs-wide",
            "tsv",
            {
                "participant": "Numéro",
                "measured_on": "Mesuré le",
                "sex": "Sexe",
                "age": "Âge",
                "height": "Taille cm",
                "weight": "Poids kg",
                "body_fat_percent": "Graisse %",
                "fat_mass": "Graisse kg",
                "fat_free_mass": "Non gras kg",
                "muscle_mass": "Muscle kg",
                "total_body_water": "Eau kg",
                "total_body_water_percent": "Eau %",
                "bone_mineral_mass": "Os kg",
                "metabolic_age": "Âge métabolique",
                "visceral_fat_level": "Niveau viscéral",
            },
            "%d/%m/%Y %H:%M",
            {"female": "femme", "male": "homme"},
            encoding="utf-16",
            newline="\r\n",
            delimiter="\t",
            decimal=",",
            height_step=1.0,
        ),
        Layout(
            "records-short",
            "ndjson",
            {
                "participant": "id",
                "measured_on": "day",
                "sex": "sex",
                "age": "age",
                "height": "cm",
                "weight": "kg",
                "body_fat_percent": "fat",
            },
            "%Y-%m-%d",
            {"female": "f", "male": "m"},
            is_gzipped=True,
            height_step=1.0,
            scope="site",
        ),
        Layout(
            "required-only",
            "csv",
            _english(*_REQUIRED, participant="Person", measured_on="Date"),
            "%d-%m-%Y",
            {"female": "2", "male": "1"},
            encoding="utf-8-sig",
            height_step=1.0,
            scope="site",
        ),
        Layout(
            "monthly-preamble",
            "csv",
            _english(measured_on="Date and time", participant="Participant"),
            "%Y-%m-%d %H:%M",
            _WORDS,
            yes_no_words={"yes": "on", "no": "off"},
            preamble=(
                "Invented data of the Harbour District Movement Programme",
                "Export of body composition readings",
                "Units: cm, kg, %, kcal a day",
            ),
            by="month",
            height_step=0.5,
            missing="-",
        ),
        Layout(
            "sheet-imperial",
            "xlsx",
            _imperial(*_BASIC),
            "%d %b %Y %H:%M",
            _WORDS,
            sheet="Export",
            preamble=(
                "Invented data of the Harbour District Movement Programme",
                "Readings, pounds and inches",
            ),
            mass_unit="[lb_av]",
            height_unit="[in_i]",
            height_step=0.5,
        ),
        Layout(
            "school-codes",
            "csv",
            {
                "participant": "Número",
                "measured_on": "Fecha",
                "sex": "Sexo",
                "age": "Edad",
                "height": "Talla cm",
                "weight": "Peso kg",
                "body_fat_percent": "Grasa %",
                "fat_mass": "Grasa kg",
                "fat_free_mass": "Sin grasa kg",
                "bmi": "IMC",
            },
            "%d/%m/%Y",
            {"female": "M", "male": "H"},  # mujer, hombre: an M that does not mean male
            encoding="latin-1",
            delimiter=";",
            decimal=",",
            scope="site",
        ),
        Layout(
            "thousands-tabs",
            "tsv",
            _english(measured_on="When", participant="Number"),
            "%Y/%m/%d %H:%M",
            _WORDS,
            yes_no_words={"yes": "1", "no": "0"},
            delimiter="\t",
            thousands=",",
            is_gzipped=True,
            extra=(("Room", "Hall 2"),),
        ),
    )
}
