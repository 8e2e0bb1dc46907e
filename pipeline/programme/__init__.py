"""`programme.toml` and the site profiles → validated, typed settings.

Every fault is a SettingsFault that names the file, the key, what was found and the choices; an unknown key is
refused with the nearest known one.
"""

from pipeline.programme.ages import ADULT_FROM, Ages
from pipeline.programme.disclosure import Disclosure, Noise
from pipeline.programme.machine import Engine, Limits
from pipeline.programme.notify import Notify
from pipeline.programme.outcomes import FollowUp, Outcomes, Target
from pipeline.programme.profile import MOST_DATE_FORMATS, Column, Profile
from pipeline.programme.reading import Programme, read_profile
from pipeline.programme.results import Results
from pipeline.programme.retention import Retention
from pipeline.programme.settings import Bandings, ProgrammeSettings, Site
from pipeline.programme.source import SourceSettings

__all__ = [
    "ADULT_FROM",
    "MOST_DATE_FORMATS",
    "Ages",
    "Bandings",
    "Column",
    "Disclosure",
    "Engine",
    "FollowUp",
    "Limits",
    "Noise",
    "Notify",
    "Outcomes",
    "Profile",
    "Programme",
    "ProgrammeSettings",
    "Results",
    "Retention",
    "Site",
    "SourceSettings",
    "Target",
    "read_profile",
]
