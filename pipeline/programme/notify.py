"""[notify]: who is told when a run fails."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from pipeline.programme.section import Section, VariableName

MailAddress = Annotated[str, Field(pattern=r"^[^@\s<>,;]+@[^@\s<>,;]+$")]


class Notify(Section):
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
