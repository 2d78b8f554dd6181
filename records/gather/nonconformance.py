"""A nonconformance from finding to proof, as its page and its report say it: what was decided elsewhere is read from there."""

from __future__ import annotations

from datetime import date, datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspection.acts.nonconformances import counted_from, effect_figures, effect_of, standing_measure, touched_batches
from inspection.defect_kinds import kind_words
from inspection.effect import Answer
from inspection.models import (
    ActionResult,
    Cause,
    CorrectiveAction,
    Disposition,
    EffectMeasure,
    Hold,
    LinkKind,
    MeasureKind,
    Nonconformance,
    Scope,
    SetupPart,
)
from records.content import Outcome, PartName, PartState
from records.gather.common import day, shop_content, signatures_of
from records.models import SuspectDecision
from records.report_content import (
    AboutLine,
    ActionLine,
    CauseLine,
    ClosingLine,
    CorrectionLine,
    NamedPart,
    NonconformanceRecord,
    ProofLine,
)
from shop.clock import shop_day
from shop.templatetags.shop import moment


def load_nonconformance(number: str) -> Nonconformance:
    """With everything its record reads. Raises Nonconformance.DoesNotExist."""
    related = (
        "opened_by", "batch__termination__sheet__job", "tool", "press", "terminal", "wire", "person", "terminal_lot__terminal",
        "wire_lot__wire", "customer",
    )  # fmt: skip
    return Nonconformance.objects.select_related(*related).prefetch_related("links").get(number=number)


def about_lines(record: Nonconformance) -> list[AboutLine]:
    """What it is about. Who was at the press is left out: that is nobody's business but quality's."""
    t = record.batch.termination if record.batch else None
    named: list[tuple[str, object]] = [
        (_("batch"), record.batch),
        (_("termination"), t and _("{sheet}, lead {lead}, end {end}").format(sheet=t.sheet, lead=t.lead, end=t.end)),
        (_("tool"), record.tool),
        (_("press"), record.press),
        (_("terminal"), record.terminal),
        (_("wire"), record.wire),
        (_("terminal lot"), record.terminal_lot and record.terminal_lot.lot_number),
        (_("wire lot"), record.wire_lot and record.wire_lot.lot_number),
    ]
    named += [(str(LinkKind(link.kind).label), link.name) for link in record.links.all()]
    return [{"what": what, "name": str(thing)} for what, thing in named if thing]


def corrections(record: Nonconformance) -> list[CorrectionLine]:
    """What was decided about the pieces, in the order of deciding: holds, dispositions, and decisions of the containment cases."""
    batches = touched_batches(record)
    own = [link.subject_id for link in record.links.all() if link.kind == LinkKind.HOLD]
    # A batch can have had other holds for other reasons: those of this record alone, and all of a batch where none is named.
    holds = Hold.objects.filter(pk__in=own) if own else Hold.objects.filter(batch__in=batches)
    found: list[tuple[datetime, CorrectionLine]] = []
    for hold in holds.filter(decided_at__isnull=False).select_related("batch", "decided_by"):
        if hold.decided_at is None or hold.decided_by is None:
            continue
        taken = _("{scrapped} scrapped, {kept} kept on hold").format(scrapped=hold.scrapped, kept=hold.kept_held)
        found.append(
            (
                hold.decided_at,
                _correction(
                    _("hold: {decision}").format(decision=hold.get_decision_display()),
                    hold.batch.number,
                    _("{n} suspect; {taken}").format(n=hold.suspect_quantity, taken=taken),
                    hold.decision_reason,
                    hold.decided_by.name,
                    hold.decided_at,
                ),
            )
        )
    for row in Disposition.objects.filter(batch__in=batches).select_related("batch", "by"):
        line = _correction(
            _("held pieces: {kind}").format(kind=row.get_kind_display()), row.batch.number, str(row.quantity), row.note, row.by.name, row.at
        )
        found.append((row.at, line))
    cases = [link.subject_id for link in record.links.all() if link.kind == LinkKind.CASE]
    decided = SuspectDecision.objects.filter(suspect__case__in=cases).select_related(
        "suspect__case", "suspect__batch", "suspect__lot", "by"
    )
    for one in decided if cases else ():
        what = f"{one.suspect.case.number}: {one.get_kind_display()}"
        quantity = str(one.quantity) if one.quantity else ""
        found.append((one.at, _correction(what, one.suspect.thing, quantity, one.note, one.by.name, one.at)))
    return [line for _at, line in sorted(found, key=lambda pair: pair[0])]


def _correction(what: str, of: str, quantity: str, why: str, by: str, at: datetime) -> CorrectionLine:
    return {"what": what, "of": of, "quantity": quantity, "why": why, "by": by, "at": moment(at)}


def named_parts(record: Nonconformance, cause: Cause | None) -> list[NamedPart]:
    """The six parts with what the record names of each; those that the cause says failed."""
    evidence: dict[str, list[object]] = {
        SetupPart.WIRE: [record.wire, record.wire_lot and record.wire_lot.lot_number],
        SetupPart.TERMINAL: [record.terminal, record.terminal_lot and record.terminal_lot.lot_number],
        SetupPart.TOOL: [record.tool, record.press],
        SetupPart.DOCUMENTS: [record.batch and record.batch.termination.sheet],
        SetupPart.INSPECTION: [record.batch],
    }
    names: tuple[PartName, ...] = ("people", "wire", "terminal", "tool", "documents", "inspection")
    parts: list[NamedPart] = []
    for name in names:
        failed = cause is not None and name in cause.parts
        state: PartState = "failed" if failed else "open"
        word = _("failed") if failed else _("not named") if cause else _("not looked at yet")
        parts.append({"part": name, "state": state, "word": word, "evidence": [str(one) for one in evidence.get(name, []) if one]})
    return parts


def measure_words(record: Nonconformance, measure: EffectMeasure) -> str:
    """What will prove that it worked, in a sentence."""
    if measure.kind in (MeasureKind.STUDY, MeasureKind.TEXT):
        word = _("Study: {text}") if measure.kind == MeasureKind.STUDY else "{text}"
        return word.format(text=measure.text)
    if measure.scope == Scope.EVERYWHERE:
        where = _("anywhere in the shop")
    elif measure.scope == Scope.PERSON:
        where = _("by the person named")
    else:
        where = f"{Scope(measure.scope).label} {getattr(record, measure.scope)}"
    what = kind_words(record.defect_kind)
    if measure.kind == MeasureKind.DATE:
        sentence = _("No finding “{what}” {where} until {day}").format(what=what, where=where, day=day(measure.until))
    elif measure.kind == MeasureKind.PIECES:
        sentence = _("No finding “{what}” {where} in the next {n} pieces").format(what=what, where=where, n=measure.target)
    else:
        sentence = _("No finding “{what}” {where} in the next {n} batches").format(what=what, where=where, n=measure.target)
    return f"{sentence}. {measure.text}".strip() if measure.text else f"{sentence}."


def figures_words(figures: dict[str, object]) -> str:
    """The numbers of an effect in a sentence; "" for a measure that counts nothing."""
    if "pieces" not in figures:
        return f"{figures['study']}: {figures['outcome']}" if "study" in figures else ""
    looks = int(str(figures["samples"]))
    batches = int(str(figures["batches"]))
    told = ngettext("{pieces} pieces in {batches} batch", "{pieces} pieces in {batches} batches", batches).format(
        pieces=figures["pieces"], batches=batches
    )
    told += ngettext(", looked at {n} time", ", looked at {n} times", looks).format(n=looks)
    findings = int(str(figures["findings"]))
    told += (
        ngettext("; {n} finding, first in {batch}", "; {n} findings, first in {batch}", findings).format(
            n=findings, batch=figures["first_found_in"]
        )
        if findings
        else _("; no finding")
    )
    reported = int(str(figures["reported"]))
    return told + (_("; reported otherwise {n} times").format(n=reported) if reported else "") + "."


ANSWERS: dict[Answer, Outcome] = {
    Answer.WORKED: "conforms",
    Answer.FAILED: "does not conform",
    Answer.UNDECIDED: "cannot be decided",
    Answer.WAITING: "waiting",
}


def proof_lines(record: Nonconformance, actions: list[CorrectiveAction], at: datetime) -> list[ProofLine]:
    """Every measure that was stated, the standing one last, with what came out or how far it is."""
    standing = standing_measure(record)
    lines: list[ProofLine] = []
    for measure in record.measures.select_related("by", "check_made__by", "check_made__study"):
        check = getattr(measure, "check_made", None)
        since = counted_from(record, measure, actions) if measure == standing else None
        line: ProofLine = {
            "measure": measure_words(record, measure),
            "stated_by": measure.by.name,
            "stated_at": moment(measure.at),
            "counted_from": "",
            "result": _("replaced by a later one"),
            "outcome": "waiting",
            "figures": "",
            "seen": "",
            "verified_by": "",
            "verified_at": "",
        }
        if check is not None:
            line |= {
                "result": _("it worked") if check.worked else _("it did not work"),
                "outcome": "conforms" if check.worked else "does not conform",
                "figures": figures_words(check.figures),
                "seen": check.text,
                "verified_by": check.by.name,
                "verified_at": moment(check.at),
            }
        elif measure == standing:
            line["result"] = _("counted once every action has ended")
            if since is not None:
                line |= {"counted_from": moment(since), "result": _("waits to be verified")}
                told = effect_of(record, measure, since, at)
                if told is not None:
                    words = {
                        Answer.WORKED: _("reached, waits to be verified"),
                        Answer.FAILED: _("found again, waits to be verified"),
                        Answer.UNDECIDED: _("nobody looked"),
                        Answer.WAITING: _("not reached yet"),
                    }
                    line |= {"figures": figures_words(effect_figures(told)), "result": words[told.answer], "outcome": ANSWERS[told.answer]}
        lines.append(line)
    return lines


def action_line(action: CorrectiveAction, on: date) -> ActionLine:
    overdue = not action.result and action.due_on < on
    outcome: Outcome = "waiting"
    if action.result:
        outcome = "conforms" if action.result == ActionResult.DONE else "conceded"
    elif overdue:
        outcome = "does not conform"
    return {
        "number": str(action.number),
        "kind": str(action.get_kind_display()),
        "what": action.what,
        "responsible": action.responsible.name,
        "due": day(action.due_on),
        "result": str(action.get_result_display()) if action.result else _("overdue") if overdue else _("open"),
        "outcome": outcome,
        "evidence": action.evidence,
        "ended_by": action.ended_by.name if action.ended_by else "",
        "ended_at": moment(action.ended_at),
    }


def _cause_line(cause: Cause) -> CauseLine:
    return {
        "parts": ", ".join(str(SetupPart(part).label) for part in cause.parts),
        "occurred": cause.occurred,
        "undetected": cause.undetected,
        "because": list(cause.because),
        "by": cause.by.name,
        "at": moment(cause.at),
    }


def standing_of(record: Nonconformance, actions: list[ActionLine], proofs: list[ProofLine], causes: int) -> tuple[str, Outcome]:
    """Where it stands in a few words, and the shape that goes with them."""
    if not record.is_open:
        return _("closed"), "conforms"
    overdue = sum(line["outcome"] == "does not conform" for line in actions)
    if overdue:
        return ngettext("{n} action overdue", "{n} actions overdue", overdue).format(n=overdue), "does not conform"
    if not causes:
        return _("cause to be found"), "waiting"
    if any(not line["ended_at"] for line in actions):
        return _("actions running"), "waiting"
    if proofs and proofs[-1]["verified_at"]:
        return (_("verified"), "waiting") if proofs[-1]["outcome"] == "conforms" else (_("it did not work"), "does not conform")
    return (_("effect to be proven"), "waiting") if actions else (_("actions to be stated"), "waiting")


def nonconformance_record(record: Nonconformance, at: datetime) -> NonconformanceRecord:
    """record: as `load_nonconformance` reads it."""
    rows = list(record.actions.select_related("responsible", "ended_by"))
    causes = list(record.causes.select_related("by"))
    actions = [action_line(action, shop_day(at)) for action in rows]
    proofs = proof_lines(record, rows, at)
    standing, outcome = standing_of(record, actions, proofs, len(causes))
    closings: list[ClosingLine] = [
        {
            "conclusion": row.conclusion,
            "without_action_because": row.without_action_because,
            "by": row.by.name,
            "at": moment(row.at),
            "reopened_because": row.reopened_because,
            "reopened_by": row.reopened_by.name if row.reopened_by else "",
            "reopened_at": moment(row.reopened_at),
        }
        for row in record.closings.select_related("by", "reopened_by")
    ]
    return {
        "kind": "nonconformance",
        "version": "1",
        "number": record.number,
        "shop": shop_content(),
        "state": str(record.get_state_display()),
        "standing": standing,
        "outcome": outcome,
        "what": record.what,
        "requirement": record.requirement,
        "defect": kind_words(record.defect_kind),
        "quantity": "" if record.quantity is None else str(record.quantity),
        "origin": str(record.get_origin_display()),
        "found_at": str(record.get_found_at_display()),
        "customer": record.customer.name if record.customer else "",
        "customer_reference": record.customer_reference,
        "opened_by": record.opened_by.name,
        "opened_at": moment(record.opened_at),
        "about": about_lines(record),
        "parts": named_parts(record, causes[-1] if causes else None),
        "corrections": corrections(record),
        "causes": [_cause_line(cause) for cause in causes],
        "actions": actions,
        "proofs": proofs,
        "closings": closings,
        "signatures": signatures_of(("nonconformance", [record.pk])),
    }
