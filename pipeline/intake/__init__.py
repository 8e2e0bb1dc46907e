"""Files from many sites → readings in the store: found, hashed, archived, read, normalised, checked, accounted for."""

from pipeline.intake.receiving import receive
from pipeline.intake.setting import ReadFile
from pipeline.intake.summary import IntakeSummary

__all__ = ["IntakeSummary", "ReadFile", "receive"]
