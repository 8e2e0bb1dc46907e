"""The proof that a release gives nobody away, read from what is published; it shares no code with the suppressor."""

from pipeline.audit.audit import Audit, audit_tables
from pipeline.audit.gate import SUMMARY, require_sound, require_sound_tables

__all__ = ["SUMMARY", "Audit", "audit_tables", "require_sound", "require_sound_tables"]
