"""What a kind of study is: the parameters it asks for, where its values are entered, and how they are analysed.

A kind is one `StudyKind` in a module of its own, listed in `inspection.study_kinds.registry`. Computation stays in the pure packages;
a kind only reads parameters, calls it, and puts the answer into sections with words and drawings.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Literal

from inspection.analysis import Analysis, Layout
from inspection.study import Study
from shop.finding import Finding, Refused, misfit
from shop.permissions import Deed
from shop.quantity import NotAQuantity, parse_number

Subject = Literal["gauge", "tool", "terminal"]
Type = Literal["count", "number", "text", "choice", "lines", "yes"]


@dataclass(frozen=True, slots=True)
class Parameter:
    """One thing the study has to know before it begins.

    type: "count" a whole number, "number" an exact one, "text", "choice" of `choices`, "lines" one text a line, "yes" a tick.
    least, most: of counts and numbers, or of how many lines. required: empty is refused.
    """

    name: str
    label: Any  # translated lazily
    type: Type = "number"
    initial: str = ""
    help: Any = ""
    choices: tuple[tuple[str, Any], ...] = ()
    required: bool = True
    least: Decimal | None = None
    most: Decimal | None = None


@dataclass(frozen=True, slots=True)
class StudyInput:
    """What an analysis works on. parameters: read by their type (int, Decimal, str, list, bool, None where empty).

    values: standing values by place, a Decimal in the unit of the layout or the word of a choice.
    resolution: of the gauge, in its unit; None without a gauge.
    """

    parameters: Mapping[str, Any]
    values: Mapping[str, Any]
    unit: str
    gauge: str = ""
    tool: str = ""
    terminal: str = ""
    characteristic: str = ""
    resolution: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Collected:
    """A value taken over from the shop's own measurements."""

    place: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class FollowUp:
    """What a signed study offers to do next: a sentence, and a link with its label. deed: what a person has to be allowed for it.

    The person does it; nothing happens by itself.
    """

    text: str
    label: str
    url: str
    deed: Deed


@dataclass(frozen=True, slots=True)
class StudyKind:
    """needs, offers: subjects that have to be, and that may be, named. characteristics: which may be studied; empty where none is asked.

    layout: raises Refused for parameters that do not go together. analyse: raises Refused where it cannot be done, with the reason.
    collect: reads values from the shop's own measurements, given the study and its parameters; None where values are entered.
    follow_up: what a signed study offers on a day; None where it offers nothing.
    """

    slug: str
    name: Any
    about: Any
    needs: frozenset[Subject]
    parameters: tuple[Parameter, ...]
    layout: Callable[[Mapping[str, Any], str], Layout]
    analyse: Callable[[StudyInput], Analysis]
    offers: frozenset[Subject] = frozenset()
    characteristics: tuple[str, ...] = ()
    collect: Callable[[Study, Mapping[str, Any]], Sequence[Collected]] | None = None
    follow_up: Callable[[Study, date], FollowUp | None] | None = None
    notes: tuple[Any, ...] = field(default_factory=tuple)


def read_parameters(kind: StudyKind, given: Mapping[str, str]) -> dict[str, Any]:
    """The parameters read by their type. Raises Refused with every one that cannot be."""
    read: dict[str, Any] = {}
    findings: list[Finding] = []
    for parameter in kind.parameters:
        text = str(given.get(parameter.name, "")).strip()
        try:
            read[parameter.name] = _read(parameter, text)
        except _Unread as error:
            findings.append(misfit("study.parameter", parameter.name, name=str(parameter.label), text=text, expected=error.expected))
    if findings:
        raise Refused(findings)
    return read


class _Unread(ValueError):  # noqa: N818  # reads as what happened
    def __init__(self, expected: str) -> None:
        self.expected = expected
        super().__init__(expected)


def _read(parameter: Parameter, text: str) -> Any:
    if parameter.type == "yes":
        return text in ("yes", "on", "true", "1")
    if parameter.type == "lines":
        lines = [line.strip() for line in text.splitlines() if line.strip()]
        if len(set(lines)) < len(lines) or not _within(parameter, Decimal(len(lines))):
            raise _Unread(f"{_span(parameter)} different lines")
        return lines
    if not text:
        if parameter.required:
            raise _Unread("an answer")
        return None
    if parameter.type == "text":
        return text
    if parameter.type == "choice":
        if text not in dict(parameter.choices):
            raise _Unread(", ".join(value for value, _label in parameter.choices))
        return text
    expected = f"{'a whole number' if parameter.type == 'count' else 'a number'}{_between(parameter)}"
    try:
        value = parse_number(text, expected)
    except NotAQuantity as error:
        raise _Unread(expected) from error
    if not _within(parameter, value) or (parameter.type == "count" and value != int(value)):
        raise _Unread(expected)
    return int(value) if parameter.type == "count" else value


def _within(parameter: Parameter, value: Decimal) -> bool:
    return (parameter.least is None or value >= parameter.least) and (parameter.most is None or value <= parameter.most)


def _span(parameter: Parameter) -> str:
    if parameter.least is not None and parameter.most is not None:
        return f"{parameter.least} to {parameter.most}"
    return (
        f"at least {parameter.least}" if parameter.least is not None else f"at most {parameter.most}" if parameter.most is not None else ""
    )


def _between(parameter: Parameter) -> str:
    span = _span(parameter)
    return f", {span}" if span else ""
