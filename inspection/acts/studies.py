"""What people do with a study: open it, record its values, take over values measured already, sign it, abandon it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import IntegerField, Max
from django.db.models.functions import Cast, Substr
from django.utils import translation

from inspection.analysis import Analysis, Cell, Layout
from inspection.events import StudyAbandoned, StudyOpened, StudySigned, StudyValuesRecorded
from inspection.study import Study, StudyState, StudyValue
from inspection.study_kinds.kind import StudyInput, StudyKind, read_parameters
from inspection.study_kinds.registry import KINDS
from inspection.verdict import parse_reading
from shop.canonical import content_sha256
from shop.characteristics import BASE_UNIT, MEASURED
from shop.events import Signing, publish
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.language import in_the_shops_language
from shop.materials import Terminal
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.quantity import NotAQuantity, parse_number
from shop.sign_on import signing_findings
from shop.tools import Gauge, Tool
from shop.validation import clean

SIGNED_MEANING = "study concluded"


def study_subject(study: Study) -> tuple[str, int, str]:
    return ("study", study.pk, study.number)


@dataclass(frozen=True, slots=True)
class Opened:
    """A study with its kind, its parameters read, its layout and its standing values as text by place."""

    study: Study
    kind: StudyKind
    parameters: Mapping[str, Any]
    layout: Layout
    standing: Mapping[str, StudyValue]


def unit_of(kind: StudyKind, study: Study) -> str:
    """The unit values are in: of the characteristic, else of the gauge, else none."""
    if study.characteristic and kind.characteristics:
        return MEASURED[study.characteristic].unit
    return study.gauge.unit if study.gauge else ""


def opened(study: Study) -> Opened:
    """Read a study: three queries at most."""
    kind = KINDS[study.kind]
    parameters = read_parameters(kind, study.set_up)
    layout = kind.layout(parameters, unit_of(kind, study))
    standing = {value.place: value for value in study.values.standing().select_related("by")}
    return Opened(study, kind, parameters, layout, standing)


def analysis_of(read: Opened) -> Analysis:
    """The answer as the values stand now. Raises Refused with the reason where there is none yet."""
    study = read.study
    missing = [cell.place for cell in read.layout.cells if not cell.optional and cell.place not in read.standing]
    if missing and read.kind.collect is None:
        labels = {cell.place: f"{row.label}, {cell.label}" for row in read.layout.rows for cell in row.cells}
        raise Refused([misfit("study.incomplete", "", missing=len(missing), first=labels[missing[0]])])
    cells = {cell.place: cell for cell in read.layout.cells}
    values = {place: _value(cells.get(place), value.text, read.layout.unit) for place, value in read.standing.items()}
    return read.kind.analyse(
        StudyInput(
            parameters=read.parameters,
            values=values,
            unit=read.layout.unit,
            gauge=study.gauge.asset_number if study.gauge else "",
            tool=study.tool.asset_number if study.tool else "",
            terminal=study.terminal.part_number if study.terminal else "",
            characteristic=study.characteristic,
            resolution=study.gauge.resolution if study.gauge else None,
        )
    )


def _value(cell: Cell | None, text: str, unit: str) -> Any:
    """A standing value as its place reads it. cell: None where values are collected and have no layout."""
    if cell is None:
        return _number(text, unit)
    if cell.choices:
        return text
    return date.fromisoformat(text) if cell.is_date else _number(text, unit if cell.unit is None else cell.unit)


_QUANTITY_OF_UNIT = {unit: quantity for quantity, unit in BASE_UNIT.items()}


def _number(text: str, unit: str) -> Decimal:
    """A value in the unit of the layout. Raises NotAQuantity."""
    quantity = _QUANTITY_OF_UNIT.get(unit)
    return parse_reading(text, unit, quantity).value if quantity else parse_number(text)


def open_study(
    *,
    kind: str,
    title: str,
    set_up: Mapping[str, str],
    by: Person,
    at: datetime,
    gauge: Gauge | None = None,
    tool: Tool | None = None,
    terminal: Terminal | None = None,
    characteristic: str = "",
) -> Study:
    """Begin a study. Raises Refused for an unknown kind, a missing subject, or parameters that cannot be read."""
    findings = permission_findings(by, Deed.RUN_STUDY)
    of = KINDS.get(kind)
    if of is None:
        raise Refused([*findings, misfit("data.unknown", "kind", thing="kind of study", name=kind)])
    given = {"gauge": gauge, "tool": tool, "terminal": terminal}
    findings += [misfit("study.subject", name, subject=name, kind=str(of.name)) for name in sorted(of.needs) if given[name] is None]
    if of.characteristics and characteristic not in of.characteristics:
        findings.append(
            misfit("study.characteristic", "characteristic", characteristic=characteristic or "–", asked=", ".join(of.characteristics))
        )
    if not title.strip():
        findings.append(misfit("data.required", "title"))
    refuse_if(findings)
    stated = {parameter.name: str(set_up.get(parameter.name, "")).strip() for parameter in of.parameters}
    parameters = read_parameters(of, stated)
    study = Study(
        kind=kind,
        title=title.strip(),
        set_up=stated,
        opened_by=by,
        opened_at=at,
        characteristic=characteristic if of.characteristics else "",
        **{name: subject for name, subject in given.items() if name in of.needs | of.offers},
    )
    of.layout(parameters, unit_of(of, study))  # refuses what does not go together, before anything is kept
    with transaction.atomic():
        Person.objects.select_for_update().get(pk=by.pk)
        last = Study.objects.annotate(serial=Cast(Substr("number", 4), IntegerField())).aggregate(n=Max("serial"))["n"] or 0
        study.number = f"ST-{last + 1:04d}"
        clean(study)
        study.save(force_insert=True)
        content = {"kind": kind, "title": study.title, **_subjects(study), "set_up": stated}
        publish(StudyOpened(by=by, at=at, subject=study_subject(study), content=content))
    return study


def _subjects(study: Study) -> dict[str, str]:
    named = {
        "gauge": study.gauge.asset_number if study.gauge else "",
        "tool": study.tool.asset_number if study.tool else "",
        "terminal": study.terminal.part_number if study.terminal else "",
        "characteristic": study.characteristic,
    }
    return {name: value for name, value in named.items() if value}


def record_values(*, study: Study, values: Mapping[str, str], by: Person, at: datetime, reason: str = "") -> int:
    """Write values at their places; how many were written. An empty text leaves its place as it is.

    A place that has another value already is corrected, which takes a reason; the old value stays on record.
    """
    with transaction.atomic():
        read = _open(study, by)
        layout, standing = read.layout, read.standing
        cells = {cell.place: cell for cell in layout.cells}
        findings: list[Finding] = []
        if read.kind.collect is not None:
            findings.append(misfit("study.collected", study=study.number))
        written: list[StudyValue] = []
        for place, given in values.items():
            text, earlier = given.strip(), standing.get(place)
            if not text or (earlier is not None and earlier.text == text):
                continue
            if place not in cells:
                findings.append(misfit("study.place", place, place=place))
                continue
            try:
                text = _typed(cells[place], text, layout.unit)
            except NotAQuantity as error:
                findings.append(misfit("study.value", place, text=text, place=cells[place].label, expected=error.expected))
            if earlier is not None and not reason.strip():
                findings.append(misfit("study.correction", "reason", place=cells[place].label))
            written.append(
                StudyValue(
                    study=study,
                    place=place,
                    text=text,
                    by=by,
                    at=at,
                    corrects=earlier,
                    correction_reason=reason.strip() if earlier else "",
                )
            )
        refuse_if(findings)
        _write(study, written, by, at)
    return len(written)


def _typed(cell: Cell, text: str, unit: str) -> str:
    """The text as it is kept. Raises NotAQuantity with what was expected."""
    if cell.choices:
        if text not in dict(cell.choices):
            raise NotAQuantity(text, ", ".join(value for value, _label in cell.choices), "It is none of the choices.", "not_a_number")
        return text
    if cell.is_date:
        try:
            return date.fromisoformat(text).isoformat()
        except ValueError as error:
            raise NotAQuantity(text, "a day written as 2026-03-31", "It is not a day.", "not_a_number") from error
    return _typed_number(text, unit if cell.unit is None else cell.unit)


def _typed_number(text: str, unit: str) -> str:
    """The digits as typed. A number in another unit of the same quantity is refused: a study is in one unit. Raises NotAQuantity."""
    quantity = _QUANTITY_OF_UNIT.get(unit)
    if quantity is None:
        parse_number(text)
        return text
    typed = parse_reading(text, unit, quantity)
    if typed.value != parse_number(typed.number):
        raise NotAQuantity(text, f"a number in {unit}", "It is in another unit.", "wrong_unit")
    return typed.number


def take_over(*, study: Study, by: Person, at: datetime) -> int:
    """Read the study's values from the shop's own measurements; how many. Once: what was taken over stays what is analysed."""
    with transaction.atomic():
        read = _open(study, by)
        if read.kind.collect is None or read.standing:
            refuse_if([misfit("study.taken_over", study=study.number)])
            raise AssertionError("refused above")
        found = read.kind.collect(study, read.parameters)
        if not found:
            refuse_if([misfit("study.nothing_measured", study=study.number)])
        _write(study, [StudyValue(study=study, by=by, at=at, place=c.place, text=c.text, source=c.source) for c in found], by, at)
    return len(found)


def _write(study: Study, rows: list[StudyValue], by: Person, at: datetime) -> None:
    if not rows:
        return
    StudyValue.objects.bulk_create(rows, batch_size=500)
    content = {
        "study": study.number,
        "values": [
            {"place": row.place, "value": row.text}
            | ({"source": row.source} if row.source else {})
            | ({"before": row.corrects.text, "reason": row.correction_reason} if row.corrects else {})
            for row in rows
        ],
    }
    publish(StudyValuesRecorded(by=by, at=at, subject=study_subject(study), content=content))


def study_content(read: Opened, analysis: Analysis, conclusion: str = "") -> dict[str, Any]:
    """What a signature on a study covers: what was asked, every value, and every figure of the answer, in the shop's language."""
    study = read.study
    if translation.get_language() != settings.LANGUAGE_CODE:
        analysis = in_the_shops_language(analysis_of)(read)
    return {
        "study": study.number,
        "kind": study.kind,
        "title": study.title,
        **_subjects(study),
        "set_up": dict(study.set_up),
        "unit": read.layout.unit,
        "values": [
            {"place": place, "value": read.standing[place].text, "by": read.standing[place].by.name, "at": read.standing[place].at}
            | ({"source": read.standing[place].source} if read.standing[place].source else {})
            for place in (read.layout.places or tuple(read.standing))
            if place in read.standing
        ],
        "outcome": analysis.outcome,
        "word": analysis.word,
        "answer": dict(analysis.content),
        "conclusion": conclusion,
    }


def sign_study(*, study: Study, conclusion: str, by: Person, at: datetime, signing: Signing, seen_sha256: str) -> Study:
    """Conclude a study with a signature over its values and its answer, as seen. seen_sha256: of `study_content` without conclusion."""
    with transaction.atomic():
        read = _open(study, by, Deed.SIGN_STUDY)
        findings = signing_findings(signing, by, SIGNED_MEANING)
        analysis = analysis_of(read)
        if content_sha256(study_content(read, analysis)) != seen_sha256:
            findings.append(misfit("sign.stale"))
        if not conclusion.strip():
            findings.append(misfit("study.conclusion", "conclusion"))
        refuse_if(findings)
        content = study_content(read, analysis, conclusion.strip())
        study = read.study
        study.state, study.closed_by, study.closed_at, study.conclusion = StudyState.SIGNED, by, at, conclusion.strip()
        study.result, study.outcome = dict(analysis.content), analysis.outcome
        clean(study)
        study.save(update_fields=["state", "closed_by", "closed_at", "conclusion", "result", "outcome"])
        publish(StudySigned(by=by, at=at, subject=study_subject(study), content=content, signing=signing))
    return study


def abandon_study(*, study: Study, reason: str, by: Person, at: datetime) -> Study:
    """End a study without an answer. Its values stay on record."""
    with transaction.atomic():
        study = _open(study, by).study
        if not reason.strip():
            refuse_if([misfit("study.conclusion", "reason")])
        study.state, study.closed_by, study.closed_at, study.conclusion = StudyState.ABANDONED, by, at, reason.strip()
        clean(study)
        study.save(update_fields=["state", "closed_by", "closed_at", "conclusion"])
        publish(StudyAbandoned(by=by, at=at, subject=study_subject(study), content={"study": study.number, "reason": reason.strip()}))
    return study


def _open(study: Study, by: Person, deed: Deed = Deed.RUN_STUDY) -> Opened:
    """The study as it is now, locked. Raises Refused for a role that may not, and for a study that is closed."""
    study = Study.objects.select_for_update(of=("self",)).select_related("gauge", "tool", "terminal").get(pk=study.pk)
    findings = permission_findings(by, deed)
    if study.state != StudyState.OPEN:
        findings.append(misfit("study.state", study=study.number, state=study.state))
    refuse_if(findings)
    return opened(study)
