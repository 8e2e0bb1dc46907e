"""`programme.toml` and the site profiles → validated, typed settings.

Every fault is a SettingsFault that names the file, the key, what was found and the choices; an unknown key is
refused with the nearest known one.
"""

from __future__ import annotations

import difflib
import hashlib
import re
from datetime import date
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal
from urllib.parse import urlsplit

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from pipeline import measures, observation_codes
from pipeline.faults import SettingsFault, printable
from pipeline.measures import MISSING_MARKS
from pipeline.period import day_before, period_of
from pipeline.seal import limits
from pipeline.seal.toml_text import read_toml

SiteId = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,39}$")]
MOST_DATE_FORMATS = 4
_DIRECTIVE = re.compile(r"%-?([A-Za-z])")
_DATE_FORMAT = re.compile(r"(?:[^%\x00]|%%|%[dmYybBaAHIMSfpzj]|%-[dmHIMS]){1,60}")
_DAY_MONTH_YEAR = (("%d", "%-d"), ("%m", "%-m", "%b", "%B"), ("%Y", "%y"))


ADULT_FROM = 20  # adult BMI bands begin with the 20th birthday, children's end before it


def _shown_as_written(text: str) -> str:
    """Refuses control characters and direction marks: a name stands on every page and in every message."""
    strange = [char for char in text if not char.isprintable() and char not in "\u200c\u200d"]
    if strange:
        raise ValueError(f"no control or direction characters in a name; found U+{ord(strange[0]):04X}")
    return text


Name = Annotated[str, Field(min_length=1, max_length=200), AfterValidator(_shown_as_written)]


class _Settings(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


# ---- the programme ------------------------------------------------------------------------------------------


class Bandings(_Settings):
    adult_bmi: Literal["who", "who-asian"] = "who"
    standard_population: str = "who-world"  # who-world, esp-2013, us-2000, or a CSV beside the settings


class Noise(_Settings):
    """Differentially private counts beside the exact tables; epsilon and delta of a person in one period."""

    epsilon: float = Field(gt=0, le=10)
    delta: float = Field(0, ge=0, le=1e-3)


class Disclosure(_Settings):
    minimum_count: int = Field(10, ge=3, le=1000)
    minimum_people_for_percentile: int = Field(30, ge=10, le=10_000)
    rounding: Literal[5] | None = None
    noise: Noise | None = None


class Ages(_Settings):
    groups: tuple[tuple[int, int], ...] = Field(measures.AGE_GROUPS, min_length=1)
    totals: tuple[tuple[int, int], ...] = measures.AGE_TOTALS  # those that the groups can make up

    @property
    def all(self) -> list[tuple[int, int]]:
        """The groups and the totals made of them."""
        return [*self.groups, *self.totals]

    @model_validator(mode="before")
    @classmethod
    def _totals_follow_the_groups(cls, values: Any) -> Any:
        """Groups without totals: the usual totals that they can make up."""
        if not isinstance(values, dict) or "groups" not in values or "totals" in values:
            return values
        try:
            begins, ends = {a for a, _ in values["groups"]}, {b for _, b in values["groups"]}
        except (TypeError, ValueError):
            return values  # the groups themselves are wrong, and are said to be
        return {**values, "totals": [(a, b) for a, b in measures.AGE_TOTALS if a in begins and b in ends]}

    @model_validator(mode="after")
    def _groups_tile_the_totals(self) -> Ages:
        edges = sorted(self.groups)
        crossing = [f"{a} to {b}" for a, b in edges if a < ADULT_FROM <= b]
        if crossing:
            raise ValueError(
                f"no group may cross {ADULT_FROM}, where children's bandings end and adults' begin: "
                f"split {crossing[0]} there"
            )
        for (_, previous_to), (next_from, _) in pairwise(edges):
            if next_from != previous_to + 1:
                raise ValueError(
                    f"groups must follow each other: a group ends at {previous_to}, the next begins at {next_from}"
                )
        if edges[0][0] < measures.AGE_LOW or edges[-1][1] > measures.AGE_HIGH or any(a > b for a, b in edges):
            raise ValueError(f"groups must lie between {measures.AGE_LOW} and {measures.AGE_HIGH}")
        for low, high in self.totals:
            if low not in {a for a, _ in edges} or high not in {b for _, b in edges}:
                raise ValueError(f"the total {low} to {high} must begin and end where groups do")
        return self


Length = Annotated[str, Field(pattern=r"^[1-9][0-9]{0,4} (day|days|month|months|year|years)$")]


class Retention(_Settings):
    """How long what can point to a person is kept; without a length, until somebody withdraws."""

    files: Length | None = None  # kept copies of received files, from the day they were received
    readings: Length | None = None  # rows of the store, from the end of the period they were measured in

    def files_until(self, today: date) -> date | None:
        """Copies of files received on or before this day are past their time; None: no copy ever is.

        A file is received after its readings were taken, so a copy is never kept longer than readings are.
        """
        days = [day_before(today, length) for length in (self.files, self.readings) if length]
        return max(days, default=None)

    def first_period(self, today: date, kind: str) -> str | None:
        """The first period whose readings are kept; None: every one is.

        Readings leave a whole period at a time: a period that lost people day by day would show, from one run to the
        next, a difference of one person.
        """
        return period_of(day_before(today, self.readings), kind) if self.readings else None


class Limits(_Settings):
    """What a run may use, and what a file may be."""

    memory: str = Field("2GB", pattern=r"^[0-9]+(\.[0-9]+)?\s?(MB|GB|MiB|GiB)$")
    threads: int | None = Field(None, ge=1, le=256)
    file_bytes: int = Field(limits.FILE_BYTES, ge=1)
    unpacked_bytes: int = Field(limits.UNPACKED_BYTES, ge=1)
    rows: int = Field(limits.ROWS, ge=1)
    columns: int = Field(limits.COLUMNS, ge=6)
    line_characters: int = Field(limits.LINE_CHARACTERS, ge=100, le=limits.LONGEST_LINE_CHARACTERS)


class Engine(_Settings):
    """Where files are read: on this machine, or on a Dask cluster that is there already."""

    kind: Literal["local", "dask"] = "local"
    scheduler: str | None = Field(None, pattern=r"^(tcp|tls|ws|wss|ucx)://.+$")
    exchange: str | None = None  # a folder or an fsspec address that this machine and the workers share
    patience_seconds: int = Field(60, ge=1, le=3600)

    @model_validator(mode="after")
    def _a_cluster_has_an_address(self) -> Engine:
        if (self.kind == "dask") != (self.scheduler is not None):
            raise ValueError('kind = "dask" and the scheduler\'s address belong together: give both or neither')
        return self


class FollowUp(_Settings):
    """One follow-up: so many months after entry, give or take so many days."""

    months: int = Field(ge=1, le=60)
    tolerance_days: int = Field(ge=1, le=180)

    @property
    def day(self) -> int:
        return round(self.months * 365.25 / 12)


class Target(_Settings):
    """The share of adults who start at BMI 25 or over that should lose 5 % of their weight or more by a follow-up."""

    months: int = Field(ge=1, le=60)
    share_losing_5_percent: float = Field(gt=0, lt=1)


class Outcomes(_Settings):
    """When people are looked at again, what counts as the same visit, and what is hoped for."""

    follow_up: tuple[FollowUp, ...] = Field(
        (
            FollowUp(months=3, tolerance_days=30),
            FollowUp(months=6, tolerance_days=45),
            FollowUp(months=12, tolerance_days=60),
        ),
        min_length=1,
        max_length=8,
    )
    same_visit_hours: int = Field(12, ge=1, le=72)  # readings nearer than this are repeats of one visit
    improvement: Literal["down", "up"] = "down"  # which way a change of weight or fat counts as better
    target: Target | None = None

    @model_validator(mode="after")
    def _follow_ups_do_not_overlap(self) -> Outcomes:
        ordered = sorted(self.follow_up, key=lambda window: window.months)
        if ordered and ordered[0].day - ordered[0].tolerance_days < 1:
            raise ValueError(f"the follow-up at {ordered[0].months} months would begin before entry")
        for one, other in pairwise(ordered):
            if one.day + one.tolerance_days >= other.day - other.tolerance_days:
                raise ValueError(
                    f"the follow-ups at {one.months} and {other.months} months overlap: a reading can belong to one; "
                    "make tolerance_days smaller"
                )
        if self.target and self.target.months not in {window.months for window in self.follow_up}:
            raise ValueError(f"the target is at {self.target.months} months, and no follow-up is")
        return self


class Results(_Settings):
    """How long figures may wait that rest on people's readings over all periods: curves, analysers, outcomes."""

    over_periods_every_days: int = Field(0, ge=0, le=92)  # 0: every run works them out


class Site(_Settings):
    id: SiteId
    name: Name
    profile: Annotated[str, Field(min_length=1, max_length=1000), AfterValidator(_shown_as_written)]
    kind: Literal["gym", "clinic", "school", "workplace", "community", "other"] = "other"
    started: date | None = None  # when the programme began there, if that is after its first readings
    expected: Literal["weekly", "monthly", "quarterly"] | None = None  # how often a reading should come


VariableName = Annotated[str, Field(pattern=r"^[A-Za-z_][A-Za-z0-9_]*$")]
MailAddress = Annotated[str, Field(pattern=r"^[^@\s<>,;]+@[^@\s<>,;]+$")]


class Notify(_Settings):
    """Who is told when a run fails. Addresses that hold secrets stand in environment variables, named here."""

    when: Literal["failed", "held"] = "failed"  # held: also when a run finished but held whole files
    webhook_variable: VariableName | None = None
    mail_server_variable: VariableName | None = None
    mail_from: MailAddress | None = None
    mail_to: tuple[MailAddress, ...] = ()

    @model_validator(mode="after")
    def _somebody_is_told(self) -> Notify:
        if self.webhook_variable is None and self.mail_server_variable is None:
            raise ValueError("name webhook_variable or mail_server_variable, or leave [notify] out")
        if self.mail_server_variable is not None and not (self.mail_from and self.mail_to):
            raise ValueError("mail_server_variable goes with mail_from and mail_to")
        return self


class SourceSettings(_Settings):
    """A place besides the inbox that files are read from. Secrets stand in environment variables, named here."""

    name: SiteId  # before the names of its files, in the ledger and in messages
    url: str  # s3://bucket/prefix, sftp://user@host/folder
    site: SiteId | None = None  # whose files lie there; else it holds a folder a site
    endpoint: str | None = None  # s3: of the store, where it is not the usual one
    region: str | None = None
    access_key_variable: VariableName | None = None
    secret_key_variable: VariableName | None = None
    password_variable: VariableName | None = None  # sftp: of the user; with key_file, what opens the key
    key_file: str | None = None
    known_hosts: str = "~/.ssh/known_hosts"

    @model_validator(mode="after")
    def _it_can_be_asked(self) -> SourceSettings:
        url = urlsplit(self.url)
        if url.scheme not in ("s3", "sftp") or not url.hostname or url.query or url.fragment:
            raise ValueError("a url such as s3://bucket/prefix or sftp://user@host/folder")
        if url.password is not None or (url.scheme == "s3" and url.username is not None):
            raise ValueError("no password stands in a url: name the environment variable that holds it")
        if ".." in url.path.split("/"):
            raise ValueError("no .. in a url")
        of_the_other = _KEYS_OF_SFTP if url.scheme == "s3" else _KEYS_OF_S3
        wrong = sorted(of_the_other & self.model_fields_set)
        if wrong:
            raise ValueError(f"{wrong[0]} means nothing for {url.scheme}")
        if url.scheme == "s3":
            if not (self.access_key_variable and self.secret_key_variable):
                raise ValueError("s3 goes with access_key_variable and secret_key_variable")
            if self.endpoint is not None:
                place = urlsplit(self.endpoint)
                is_here = place.hostname in ("127.0.0.1", "::1", "localhost")
                if place.scheme != "https" and not (place.scheme == "http" and is_here):
                    raise ValueError("an endpoint of https://…; http only for this machine itself")
        elif not url.username or not (self.key_file or self.password_variable):
            raise ValueError("sftp goes with a user in the url, and with key_file or password_variable")
        return self


_KEYS_OF_S3 = {"endpoint", "region", "access_key_variable", "secret_key_variable"}
_KEYS_OF_SFTP = {"password_variable", "key_file", "known_hosts"}


class ProgrammeSettings(_Settings):
    name: Name
    period: Literal["quarter", "month"] = "quarter"
    locale: str = "en-GB"  # how pages write numbers and days
    language: str = "en"  # of the words of pages, report and workbook; another needs languages/<language>.po
    bandings: Bandings = Bandings()
    disclosure: Disclosure = Disclosure()
    ages: Ages = Ages()
    limits: Limits = Limits()
    engine: Engine = Engine()
    retention: Retention = Retention()
    outcomes: Outcomes = Outcomes()
    results: Results = Results()
    notify: Notify | None = None
    source: tuple[SourceSettings, ...] = Field((), max_length=100)
    site: tuple[Site, ...] = Field(min_length=1)

    @field_validator("locale", "language")
    @classmethod
    def _locale_is_known(cls, name: str) -> str:
        from babel import Locale, UnknownLocaleError  # a second heavy import that most commands do without

        try:
            Locale.parse(name, sep="-")
        except (ValueError, UnknownLocaleError) as error:
            raise ValueError(f"a language, or a language and country, such as en-GB or de-CH; found {name}") from error
        return name

    @field_validator("site")
    @classmethod
    def _site_ids_differ(cls, sites: tuple[Site, ...]) -> tuple[Site, ...]:
        seen: set[str] = set()
        for site in sites:
            if site.id in seen:
                raise ValueError(f"the site id {site.id} stands twice")
            seen.add(site.id)
        return sites

    @model_validator(mode="after")
    def _sources_are_known_apart(self) -> ProgrammeSettings:
        names = [source.name for source in self.source]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"the source {twice[0]} stands twice")
        sites = [site.id for site in self.site]
        for source in self.source:
            if source.site is not None and source.site not in sites:
                raise ValueError(f"source {source.name}: no site {source.site}{nearest(source.site, sites)}")
        return self


# ---- a site's profile ---------------------------------------------------------------------------------------


class Column(_Settings):
    """Where a field stands in a site's files, and how it is written there."""

    header: str = Field(min_length=1, max_length=1000)
    unit: str | None = None
    format: str | tuple[str, ...] | None = None  # strptime formats of a date or date and time
    codes: dict[str, str] | None = None  # the file's word → female, male / yes, no
    written_units: bool = False  # values such as 5'4", 165 cm, 11 st 4 lb carry their own unit
    resolution: float | None = Field(None, ge=1e-6, le=1e6)  # print resolution in the received unit
    scope: Literal["programme", "site"] | None = None  # participant only: whose numbers these are


class Profile(_Settings):
    format: Literal["csv", "tsv", "xlsx", "ndjson", "parquet", "fhir"]
    encoding: str | None = None  # detected when absent
    delimiter: str | None = Field(None, min_length=1, max_length=1)
    quote: str = Field('"', max_length=1)
    decimal: Literal[".", ","] = "."
    thousands: Literal["", ".", ",", " ", "'"] = ""
    header_row: int = Field(1, ge=1, le=100)  # line of the column headers, for files with a preamble
    sheet: str | None = None  # xlsx: the first sheet when absent
    missing: tuple[str, ...] = MISSING_MARKS
    columns: dict[str, Column]
    constants: dict[str, str | int | float | bool] = {}

    @model_validator(mode="before")
    @classmethod
    def _observations_have_their_usual_codes(cls, values: Any) -> Any:
        """format = "fhir": a field without a header is read by its usual codes."""
        if not isinstance(values, dict) or values.get("format") != "fhir":
            return values
        given, constants = values.get("columns", {}), values.get("constants", {})
        if not isinstance(given, dict) or not isinstance(constants, dict):
            return values
        columns: dict[str, Any] = {
            name: {"header": header}
            for name, header in observation_codes.usual_headers().items()
            if name not in constants
        }
        for name, column in given.items():
            columns[name] = {**columns.get(name, {}), **column} if isinstance(column, dict) else column
        return {**values, "columns": columns}

    @model_validator(mode="after")
    def _fields_are_known_and_complete(self) -> Profile:
        for name in (*self.columns, *self.constants):
            if name not in measures.FIELDS:
                raise ValueError(f"no field {name}{nearest(name, measures.FIELDS)}")
        twice = sorted(set(self.columns) & set(self.constants))
        if twice:
            raise ValueError(f"{twice[0]} stands under [columns] and under [constants]; keep one")
        absent = [
            f.name
            for f in measures.FIELDS.values()
            if f.is_required and f.name not in self.columns and f.name not in self.constants
        ]
        if absent:
            raise ValueError(
                f"missing: {', '.join(absent)}; give each a header under [columns] or a value under [constants]"
            )
        if "participant" in self.constants:
            raise ValueError("participant cannot be a constant: each person needs a number of their own")
        for name, column in self.columns.items():
            field = measures.FIELDS[name]
            if column.unit is not None:
                unit = measures.unit_named(column.unit)
                if field.kind != "number":
                    raise ValueError(f"{name} has no unit; found {column.unit}")
                if unit is None or unit.dimension != field.dimension:
                    choices = ", ".join(
                        u.code for u in measures.UNITS.values() if u.dimension == field.dimension
                    )
                    raise ValueError(f"{name} cannot be in {column.unit}; units are {choices}")
            if column.scope is not None and name != "participant":
                raise ValueError(f"{name} has no scope; only participant has one")
        return self

    @model_validator(mode="after")
    def _columns_can_be_read(self) -> Profile:
        """Codes, formats and written units stand where they mean something, and mean one thing."""
        meanings = {"sex": ("female", "male"), "yes_no": ("yes", "no")}
        for name, column in self.columns.items():
            field = measures.FIELDS[name]
            if column.codes is not None:
                meant = meanings.get(field.kind)
                if meant is None:
                    raise ValueError(f"{name} has no codes; only sex and athlete_mode have")
                unknown = [f"{word} = {value}" for word, value in column.codes.items() if value not in meant]
                if unknown:
                    raise ValueError(
                        f"{name}: each word must mean {' or '.join(meant)}; found {', '.join(unknown)}"
                    )
                if len({word.strip().lower() for word in column.codes}) < len(column.codes):
                    raise ValueError(f"{name}: a word stands twice in codes, but for its letter case")
            if column.format is not None and field.kind != "moment":
                raise ValueError(f"{name} has no format; only measured_on has one")
            formats = (column.format,) if isinstance(column.format, str) else column.format or ()
            if len(formats) > MOST_DATE_FORMATS:
                raise ValueError(f"{name}: at most {MOST_DATE_FORMATS} formats; found {len(formats)}")
            for form in formats:
                if not all(any(sign in form for sign in signs) for signs in _DAY_MONTH_YEAR):
                    raise ValueError(
                        f"{name}: a format names day, month and year, such as %d/%m/%Y; found {form}"
                    )
                if not _DATE_FORMAT.fullmatch(form):
                    raise ValueError(
                        f"{name}: a format is made of %d %m %Y %y %b %B %a %A %H %I %M %S %f %p %z %j and signs, each "
                        f"once; found {form}"
                    )
                if len(_DIRECTIVE.findall(form)) != len(set(_DIRECTIVE.findall(form))):
                    raise ValueError(f"{name}: a format names each part once; found {form}")
            if column.written_units and field.dimension not in ("length", "mass"):
                raise ValueError(f"{name} cannot have written units; only heights and masses can")
        if self.separator in self._no_delimiters or self.quote in ("\r", "\n", "\0"):
            raise ValueError("delimiter and quote are two different signs, and no line end")
        if self.thousands == self.decimal:
            raise ValueError(f"decimal and thousands are both {self.decimal}; they must differ")
        return self

    @model_validator(mode="after")
    def _observations_can_be_found(self) -> Profile:
        """format = "fhir": every header names codes, each code means one field, and units come with the values."""
        if self.format != "fhir":
            return self
        elements = {
            "participant": observation_codes.SUBJECT,
            "measured_on": observation_codes.MOMENT,
            "sex": observation_codes.GENDER,
            "device": observation_codes.DEVICE,
        }
        taken: dict[str, str] = {}
        for name, column in self.columns.items():
            for token in observation_codes.tokens_of(column.header):
                if "|" not in token and token != elements.get(name):
                    raise ValueError(
                        f"{name}: a code is written system|code, such as http://loinc.org|29463-7; found {token}"
                    )
                if taken.setdefault(token, name) != name:
                    raise ValueError(f"{token} stands for {taken[token]} and for {name}; keep one")
            if column.written_units or column.format is not None:
                raise ValueError(f"{name}: FHIR says how values are written; leave out format and written_units")
            if column.unit is not None and name != "age":
                raise ValueError(f"{name}: in FHIR the unit comes with the value; leave it out")
        return self

    @property
    def _no_delimiters(self) -> tuple[str, ...]:
        return tuple(sign for sign in ("\r", "\n", "\0", self.quote) if sign)

    @property
    def separator(self) -> str:
        return self.delimiter or ("\t" if self.format == "tsv" else ",")

    def header_of(self, field: str) -> str:
        """The header of a field's column; "" where the files do not carry the field."""
        return self.columns[field].header if field in self.columns else ""

    @cached_property
    def sha256(self) -> str:
        return hashlib.sha256(self.model_dump_json().encode()).hexdigest()


# ---- reading them -------------------------------------------------------------------------------------------


class Programme:
    """A programme's settings with its folders and the profile of each site."""

    def __init__(self, path: Path, settings: ProgrammeSettings, profiles: dict[str, Profile], sha256: str):
        self.path, self.settings, self.profiles, self.sha256 = path, settings, profiles, sha256
        self.folder = path.parent
        self.inbox = self.folder / "inbox"
        self.store = self.folder / "store"
        self.published = self.folder / "published"

    @property
    def language_file(self) -> Path | None:
        """The translations of the pages' words; None where they are English."""
        return None if self.settings.language == "en" else self.language_file_of(self.settings.language)

    def language_file_of(self, language: str) -> Path:
        return self.folder / "languages" / f"{language}.po"

    @property
    def sites(self) -> dict[str, Site]:
        return {site.id: site for site in self.settings.site}

    @classmethod
    def read(cls, path: Path) -> Programme:
        """Read a settings file and every profile it names.

        Errors   SettingsFault for the first fault found in each file.
        """
        path = path.resolve()
        if path.is_dir():
            path = path / "programme.toml"
        settings = _read(
            path, ProgrammeSettings, "a programme's settings; `evenbeam init` writes a first one"
        )
        digest = hashlib.sha256(path.read_bytes())
        profiles: dict[str, Profile] = {}
        by_file: dict[Path, Profile] = {}
        for site in settings.site:
            where = (path.parent / site.profile).resolve()
            if where not in by_file:
                by_file[where] = read_profile(where)
                digest.update(where.read_bytes())
            profiles[site.id] = by_file[where]
        return cls(path, settings, profiles, digest.hexdigest())


def read_profile(path: Path) -> Profile:
    return _read(path, Profile, "a site's profile; `evenbeam inspect FILE` proposes one")


def _read(path: Path, model: type[_Settings], what: str) -> Any:
    values = read_toml(path, what)
    try:
        return model.model_validate(values)
    except ValidationError as error:
        raise _first_fault(path, model, error) from error


def nearest(word: str, choices: Any) -> str:
    """ "; did you mean weight?" or the list of choices when nothing is near."""
    close = difflib.get_close_matches(word, list(choices), n=1, cutoff=0.6)
    return f"; did you mean {close[0]}?" if close else f"; choices are {', '.join(choices)}"


def _first_fault(path: Path, model: type[_Settings], error: ValidationError) -> SettingsFault:
    """One clear fault out of pydantic's list: the first, in the words of this program."""
    fault = error.errors(include_url=False)[0]
    place = fault["loc"]
    key = ".".join(str(part) for part in place) or "the file as a whole"
    found = "" if fault["type"] in ("missing", "value_error") else repr(fault.get("input"))
    if fault["type"] == "extra_forbidden":
        expected = f"a known key{nearest(str(place[-1]), _keys_at(model, place[:-1]))}"
        found = str(place[-1])
    elif fault["type"] == "missing":
        expected = f"the key {place[-1]}, which is required"
    elif fault["type"] == "string_too_short" and place[-1] == "header":
        expected = "the header of a column; a proposal leaves it open where no header names the field"
    else:
        expected = _in_our_words(fault)
    return SettingsFault(
        "bad settings",
        where=f"{path}, {key}",
        found=printable(found),
        expected=expected,
        next="correct the file and run again; nothing was changed",
    )


# pydantic's kind of fault → what was expected, in this program's words
_EXPECTED = {
    "literal_error": "one of {expected}",
    "string_type": "a text in quotes",
    "string_too_short": "a text that is not empty",
    "string_too_long": "a text of at most {max_length} characters",
    "string_pattern_mismatch": "a text of the form {pattern}",
    "int_type": "a whole number",
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "float_parsing": "a number",
    "bool_type": "true or false",
    "bool_parsing": "true or false",
    "greater_than": "more than {gt}",
    "greater_than_equal": "at least {ge}",
    "less_than_equal": "at most {le}",
    "less_than": "less than {lt}",
    "date_type": "a day without quotes, such as 2024-10-01",
    "date_parsing": "a day without quotes, such as 2024-10-01",
    "date_from_datetime_parsing": "a day without quotes, such as 2024-10-01",
    "date_from_datetime_inexact": "a day without a time, such as 2024-10-01",
    "too_short": "at least {min_length}",
    "too_long": "at most {max_length}",
    "tuple_type": "a list in square brackets",
    "dict_type": 'a table such as {{ header = "Weight" }}',
    "model_type": 'a table such as {{ header = "Weight" }}',
}


def _in_our_words(fault: Any) -> str:
    said = _EXPECTED.get(fault["type"])
    return said.format(**fault.get("ctx", {})) if said else fault["msg"].removeprefix("Value error, ")


def _keys_at(model: Any, loc: tuple[Any, ...]) -> list[str]:
    """The keys allowed at a place of the settings, found by walking the models' annotations."""
    for part in loc:
        if isinstance(part, int) or not hasattr(model, "model_fields") or part not in model.model_fields:
            continue
        model = _model_in(model.model_fields[part].annotation) or model
    return list(getattr(model, "model_fields", {}))


def _model_in(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _model_in(inner)
        if found:
            return found
    return None
