"""Files from many sites → readings in the store: found, hashed, archived, read, normalised, checked, accounted for."""

from pipeline.intake.one_file import IntakeSummary, ReadFile
from pipeline.intake.receiving import receive

__all__ = ["IntakeSummary", "ReadFile", "receive"]
