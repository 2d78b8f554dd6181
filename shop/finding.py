"""What a rule found: its code, its verdict and the numbers it compared. The sentence is made at the edge (`shop.wording`)."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum


class Verdict(StrEnum):
    """The answer of a rule. A rule that lacks data says so; it never guesses."""

    FITS = "fits"
    MISFIT = "misfit"
    UNDECIDABLE = "undecidable"
    CONCEDED = "conceded"


@dataclass(frozen=True, slots=True)
class Finding:
    """One rule's answer.

    rule: stable code such as "fit.conductor.csa"; the same in the API, the tests, the PDF and the handbook.
    field: where a form or an API client shows it ("" for the whole act).
    compared: the numbers and names compared, the unit in the key ("wire_mm2").
    """

    rule: str
    verdict: Verdict
    field: str = ""
    compared: Mapping[str, Decimal | int | str] = dataclasses.field(default_factory=dict)

    @property
    def blocks(self) -> bool:
        """Whether this finding stops a release or a start: a misfit does, and so does what cannot be decided."""
        return self.verdict in (Verdict.MISFIT, Verdict.UNDECIDABLE)


class Refused(Exception):  # noqa: N818  # reads as what happened: "the act was refused"
    """An act was refused. Carries every finding, not only the first; nothing was written."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings: tuple[Finding, ...] = tuple(findings)
        super().__init__(", ".join(f.rule for f in self.findings))


def misfit(rule: str, field: str = "", **compared: Decimal | int | str) -> Finding:
    """A blocking finding, shorter to write where an act checks a state."""
    return Finding(rule, Verdict.MISFIT, field, compared)


def refuse_if(findings: Iterable[Finding]) -> None:
    """Raise `Refused` with all blocking findings, if there are any."""
    blocking = [f for f in findings if f.blocks]
    if blocking:
        raise Refused(blocking)
