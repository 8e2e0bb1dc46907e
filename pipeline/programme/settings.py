"""`programme.toml` as a whole: its sections, its sites, and what must fit between them."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, field_validator, model_validator

from pipeline.faults import nearest
from pipeline.programme.ages import Ages
from pipeline.programme.disclosure import Disclosure
from pipeline.programme.machine import Engine, Limits
from pipeline.programme.notify import Notify
from pipeline.programme.outcomes import Outcomes
from pipeline.programme.results import Results
from pipeline.programme.retention import Retention
from pipeline.programme.section import Name, Section, SiteId, shown_as_written
from pipeline.programme.source import SourceSettings


class Bandings(Section):
    adult_bmi: Literal["who", "who-asian"] = "who"
    standard_population: str = "who-world"  # who-world, esp-2013, us-2000, or a CSV beside the settings


class Site(Section):
    id: SiteId
    name: Name
    profile: Annotated[str, Field(min_length=1, max_length=1000), AfterValidator(shown_as_written)]
    kind: Literal["gym", "clinic", "school", "workplace", "community", "other"] = "other"
    started: date | None = None  # when the programme began there, if that is after its first readings
    expected: Literal["weekly", "monthly", "quarterly"] | None = None  # how often a reading should come


class ProgrammeSettings(Section):
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
