"""What was received, in numbers and messages: of one file, or of a whole run."""

from __future__ import annotations

from dataclasses import dataclass, field

from pipeline.intake.amounts import amount


@dataclass(frozen=True)
class IntakeSummary:
    """What was received: by a run, or of one file."""

    files_accepted: int = 0
    files_held: int = 0
    files_refused: int = 0
    files_already_received: int = 0
    rows_read: int = 0
    rows_accepted: int = 0
    rows_held: int = 0
    rows_duplicate: int = 0
    rows_superseded: int = 0
    rows_withdrawn: int = 0
    rows_expired: int = 0
    readings_replaced: int = 0  # accepted from earlier files, superseded by the files of this run
    passed_over: int = 0  # folders and files in the inbox that stand where nothing is read
    files_of_earlier_profile: int = 0  # of those already received: read with the profile as it was before
    messages: list[str] = field(default_factory=list)  # one a file held or refused whole, or passed over
    row_messages: list[str] = field(default_factory=list)  # one a file of which some rows were held
    lost_sources: list[str] = field(default_factory=list)  # names of sources out of reach, whose files wait
    passes_apart: list[str] = field(default_factory=list)  # what broke a pass, whose files then went one by one

    def sentence(self) -> str:
        """What came in, in one line whose rows add up."""
        files = [f"{self.files_accepted} accepted"]
        files += [f"{self.files_held} held"] if self.files_held else []
        files += [f"{self.files_refused} refused"] if self.files_refused else []
        files += [f"{self.files_already_received} already received"] if self.files_already_received else []
        left = "".join(
            f" + {n} {word}"
            for n, word in ((self.rows_withdrawn, "withdrawn"), (self.rows_expired, "expired"))
            if n
        )
        replaced = f"; {amount(self.readings_replaced, 'earlier reading')} replaced"
        return (
            f"files: {', '.join(files)}; rows: {self.rows_read} read = {self.rows_accepted} accepted + "
            f"{self.rows_held} held + {self.rows_duplicate} duplicate + {self.rows_superseded} superseded"
            f"{left}{replaced if self.readings_replaced else ''}"
        )

    def __add__(self, other: IntakeSummary) -> IntakeSummary:
        """Counts added, messages one after the other."""
        return IntakeSummary(
            *(mine + theirs for mine, theirs in zip(vars(self).values(), vars(other).values(), strict=True))
        )
