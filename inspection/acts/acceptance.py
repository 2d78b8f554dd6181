"""Sampling schemes and the lots inspected by them. The severity follows from the history; nobody picks it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import IntegerField, Max
from django.db.models.functions import Cast, Substr

from inspection.acceptance import LotInspection, PlanBasis, SampledThing, SamplingScheme
from inspection.events import LotInspected, SamplingEnded, SamplingOpened
from inspection.models import Batch
from inspection.sampling.design import zero_acceptance_lot
from inspection.sampling.single import NotInTable, ac_one_step_tighter, plan_for, read_aql
from inspection.sampling.switching import LotRecord, Route, Standing, State, standing
from shop.acts.catalogue import set_lot_state
from shop.canonical import content_sha256
from shop.events import Signing, publish
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.materials import LotState, Terminal, TerminalLot, Wire, WireLot
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.sign_on import signing_findings
from shop.validation import clean

INSPECTED_MEANING = "lot inspected by sample"

Lot = TerminalLot | WireLot | Batch


def scheme_subject(scheme: SamplingScheme) -> tuple[str, int, str]:
    return ("sampling scheme", scheme.pk, scheme.number)


# --- Schemes ---------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SchemeInput:
    """What a scheme is to be; figures as the tables and the risks have them. quality, risk: in percent."""

    name: str
    thing: str
    criterion: str
    basis: str
    reason: str
    terminal: Terminal | None = None
    wire: Wire | None = None
    level: str = ""
    aql: Decimal | None = None
    start: str = State.NORMAL.value
    reduced_by: str = Route.NEVER.value
    quality: Decimal | None = None
    risk: Decimal | None = None
    n: int | None = None
    ac: int | None = None


def open_scheme(*, stated: SchemeInput, by: Person, at: datetime) -> SamplingScheme:
    """Put a sampling scheme in force. Raises Refused."""
    findings = permission_findings(by, Deed.PLAN_SAMPLING) + _scheme_findings(stated)
    refuse_if(findings)
    of_wire = stated.thing == SampledThing.WIRE_LOTS
    scheme = SamplingScheme(
        name=stated.name.strip(),
        thing=stated.thing,
        terminal=None if of_wire else stated.terminal,
        wire=stated.wire if of_wire else None,
        criterion=stated.criterion.strip(),
        basis=stated.basis,
        reason=stated.reason.strip(),
        opened_by=by,
        opened_at=at,
        **_plan_fields(stated),
    )
    with transaction.atomic():
        Person.objects.select_for_update().get(pk=by.pk)
        last = SamplingScheme.objects.annotate(serial=Cast(Substr("number", 4), IntegerField())).aggregate(n=Max("serial"))["n"] or 0
        scheme.number = f"SS-{last + 1:04d}"
        clean(scheme)
        scheme.save(force_insert=True)
        content = {**scheme_content(scheme), "reason": scheme.reason}
        publish(SamplingOpened(by=by, at=at, subject=scheme_subject(scheme), content=content))
    return scheme


def _plan_fields(stated: SchemeInput) -> dict[str, Any]:
    if stated.basis == PlanBasis.TABLE:
        aql = None if stated.aql is None else read_aql(stated.aql)
        return {"level": stated.level, "aql": aql, "start": stated.start, "reduced_by": stated.reduced_by}
    if stated.basis == PlanBasis.ZERO:
        return {"quality": stated.quality, "risk": stated.risk}
    return {"own_n": stated.n, "own_ac": stated.ac}


def _scheme_findings(stated: SchemeInput) -> list[Finding]:
    found = [misfit("data.required", name) for name in ("name", "criterion", "reason") if not getattr(stated, name).strip()]
    found += [
        misfit("data.invalid", name, message=f"{value or '–'} is none of the choices.")
        for name, value, known in (
            ("thing", stated.thing, SampledThing.values),
            ("basis", stated.basis, PlanBasis.values),
            ("start", stated.start, ("normal", "tightened", "reduced")),
            ("reduced_by", stated.reduced_by, tuple(Route)),
        )
        if value not in known
    ]
    part = "wire" if stated.thing == SampledThing.WIRE_LOTS else "terminal"
    if getattr(stated, part) is None:
        found.append(misfit("data.required", part))
    if stated.basis == PlanBasis.TABLE:
        found += _table_findings(stated)
    elif stated.basis == PlanBasis.ZERO:
        found += [
            misfit("sampling.percent", name, given="–" if value is None else f"{value:f}")
            for name, value in (("quality", stated.quality), ("risk", stated.risk))
            if value is None or not 0 < value < 100  # percent
        ]
    elif stated.basis == PlanBasis.OWN and (stated.n is None or stated.ac is None or not 0 <= stated.ac < stated.n):
        found.append(misfit("sampling.own", "n", n=stated.n or 0, ac="–" if stated.ac is None else stated.ac))
    return found


def _table_findings(stated: SchemeInput) -> list[Finding]:
    if stated.aql is None:
        return [misfit("data.required", "aql")]
    try:
        plan_for(1000, stated.level, stated.aql)
    except NotInTable as error:
        field = "aql" if error.asked == "AQL" else "level"
        return [misfit("sampling.table", field, asked=error.asked, given=str(error.value), known=error.known)]
    return []


def end_scheme(*, scheme: SamplingScheme, reason: str, by: Person, at: datetime) -> SamplingScheme:
    """Take a scheme out of force. Its lots stay on record."""
    with transaction.atomic():
        scheme = _locked(scheme)
        findings = permission_findings(by, Deed.PLAN_SAMPLING)
        if scheme.ended_at is not None:
            findings.append(misfit("sampling.ended", scheme=scheme.number))
        if not reason.strip():
            findings.append(misfit("data.required", "reason"))
        refuse_if(findings)
        scheme.ended_by, scheme.ended_at, scheme.ended_because = by, at, reason.strip()
        clean(scheme)
        scheme.save(update_fields=["ended_by", "ended_at", "ended_because"])
        content = {"scheme": scheme.number, "reason": scheme.ended_because}
        publish(SamplingEnded(by=by, at=at, subject=scheme_subject(scheme), content=content))
    return scheme


def _locked(scheme: SamplingScheme) -> SamplingScheme:
    return SamplingScheme.objects.select_for_update(of=("self",)).select_related("terminal", "wire").get(pk=scheme.pk)


def scheme_content(scheme: SamplingScheme) -> dict[str, Any]:
    """What a scheme says, as text."""
    plan: dict[str, Any] = {"basis": scheme.basis}
    if scheme.basis == PlanBasis.TABLE:
        assert scheme.aql is not None  # noqa: S101  # the database lets no such row in
        plan |= {"level": scheme.level, "aql": f"{read_aql(scheme.aql):f}", "start": scheme.start, "reduced_by": scheme.reduced_by}
    elif scheme.basis == PlanBasis.ZERO:
        assert scheme.quality is not None  # noqa: S101  # as above
        assert scheme.risk is not None  # noqa: S101  # as above
        plan |= {"quality_percent": f"{scheme.quality.normalize():f}", "risk_percent": f"{scheme.risk.normalize():f}"}
    else:
        plan |= {"n": scheme.own_n, "ac": scheme.own_ac}
    return {
        "scheme": scheme.number,
        "name": scheme.name,
        "thing": scheme.thing,
        "part": scheme.part.part_number,
        "criterion": scheme.criterion,
        "plan": plan,
    }


# --- History and plan ------------------------------------------------------------------------------------------------------------


def record_of(row: LotInspection) -> LotRecord:
    return LotRecord(
        n=row.n,
        ac=row.ac,
        re=row.re,
        nonconforming=row.found,
        resubmitted=row.resubmitted,
        steady=not row.irregular,
        ac_tighter=row.ac_tighter,
    )


def standing_of(scheme: SamplingScheme, history: Sequence[LotInspection]) -> Standing:
    """What the next lot of the scheme is inspected under. history: its inspections, the oldest first."""
    return standing(
        [record_of(row) for row in history],
        aql=scheme.aql or Decimal(1),
        start=State(scheme.start),
        route=Route(scheme.reduced_by),
        can_tighten=scheme.switches,
    )


@dataclass(frozen=True, slots=True)
class LotPlan:
    """The plan for one lot. code_letter, source: empty where no table is used. most_accepted: found, with which it is still accepted."""

    severity: State
    code_letter: str
    n: int
    ac: int
    re: int
    whole_lot: bool
    source: str
    status: str = ""
    ac_tighter: int | None = None

    @property
    def most_accepted(self) -> int:
        return self.re - 1


def plan_of(scheme: SamplingScheme, lot_size: int, state: State) -> LotPlan:
    """The plan of a scheme for a lot of this size. Raises Refused where there is none, or acceptance is discontinued."""
    if state is State.DISCONTINUED:
        raise Refused([misfit("sampling.discontinued", "", scheme=scheme.number)])
    if lot_size < 1:
        raise Refused([misfit("data.positive", "lot_size")])
    if scheme.basis == PlanBasis.TABLE:
        assert scheme.aql is not None  # noqa: S101  # the database lets no such row in
        try:
            plan = plan_for(lot_size, scheme.level, scheme.aql, state.value)
        except NotInTable as error:
            raise Refused([misfit("sampling.table", "lot_size", asked=error.asked, given=str(error.value), known=error.known)]) from error
        return LotPlan(
            state, plan.code_letter, plan.n, plan.ac, plan.re, plan.whole_lot, plan.source, plan.status, ac_one_step_tighter(plan)
        )
    if scheme.basis == PlanBasis.ZERO:
        assert scheme.quality is not None  # noqa: S101  # as above
        assert scheme.risk is not None  # noqa: S101  # as above
        bad = max(math.ceil(scheme.quality * lot_size / 100), 1)
        n = zero_acceptance_lot(lot_size, bad, float(scheme.risk) / 100).n
        return LotPlan(state, "", n, 0, 1, n >= lot_size, "hypergeometric")
    own_n, own_ac = scheme.own_n or 1, scheme.own_ac or 0
    return LotPlan(state, "", min(own_n, lot_size), own_ac, own_ac + 1, own_n >= lot_size, "")


def history_of(scheme: SamplingScheme) -> list[LotInspection]:
    return list(scheme.inspections.select_related("terminal_lot", "wire_lot", "batch", "by").order_by("number"))


def lots_of(scheme: SamplingScheme) -> Any:
    """The lots that belong to a scheme, the newest first."""
    if scheme.thing == SampledThing.WIRE_LOTS:
        return WireLot.objects.filter(wire=scheme.wire)
    if scheme.thing == SampledThing.TERMINAL_LOTS:
        return TerminalLot.objects.filter(terminal=scheme.terminal)
    return Batch.objects.filter(termination__terminal=scheme.terminal)


def lot_named(scheme: SamplingScheme, number: str) -> Lot:
    """The lot or batch of this number. Raises Refused for one the scheme is not about."""
    key = "number" if scheme.thing == SampledThing.BATCHES else "lot_number"
    lot: Lot | None = lots_of(scheme).filter(**{key: number.strip()}).first()
    if lot is None:
        raise Refused([misfit("sampling.lot", "lot", lot=number or "–", part=scheme.part.part_number)])
    return lot


# --- Inspecting a lot ------------------------------------------------------------------------------------------------------------


def plan_content(scheme: SamplingScheme, lot: Lot, lot_size: int, plan: LotPlan) -> dict[str, Any]:
    """What the person sees before looking at the lot."""
    return {
        "scheme": scheme.number,
        "lot": str(lot),
        "lot_size": lot_size,
        "severity": plan.severity.value,
        "code_letter": plan.code_letter,
        "n": plan.n,
        "ac": plan.ac,
        "re": plan.re,
    }


def plan_sha256(scheme: SamplingScheme, lot: Lot, lot_size: int, plan: LotPlan) -> str:
    return content_sha256(plan_content(scheme, lot, lot_size, plan))


@dataclass(frozen=True, slots=True)
class LotInput:
    """found: nonconforming pieces, or nonconformities above AQL 10. irregular: empty where production ran as usual."""

    lot_size: int
    found: int
    defects: str = ""
    resubmitted: bool = False
    irregular: str = ""


def inspect_lot(
    *, scheme: SamplingScheme, lot: Lot, stated: LotInput, by: Person, at: datetime, signing: Signing, seen_sha256: str
) -> LotInspection:
    """Record one lot with a signature. seen_sha256: of the plan as shown, `plan_sha256`.

    A lot that is not accepted puts a material lot on hold in the same transaction. An accepted one is not released: that is its own act.
    """
    with transaction.atomic():
        scheme = _locked(scheme)
        findings = permission_findings(by, Deed.INSPECT_LOT) + signing_findings(signing, by, INSPECTED_MEANING)
        if scheme.ended_at is not None:
            findings.append(misfit("sampling.ended", scheme=scheme.number))
        refuse_if(findings)
        history = history_of(scheme)
        now = standing_of(scheme, history)
        plan = plan_of(scheme, stated.lot_size, now.state)
        if plan_sha256(scheme, lot, stated.lot_size, plan) != seen_sha256:
            findings.append(misfit("sign.stale"))
        refuse_if(findings + _lot_findings(scheme, lot, stated, plan, history))
        row = LotInspection(
            scheme=scheme,
            number=len(history) + 1,
            terminal_lot=lot if isinstance(lot, TerminalLot) else None,
            wire_lot=lot if isinstance(lot, WireLot) else None,
            batch=lot if isinstance(lot, Batch) else None,
            lot_size=stated.lot_size,
            severity=now.state.value,
            code_letter=plan.code_letter,
            n=plan.n,
            ac=plan.ac,
            re=plan.re,
            ac_tighter=plan.ac_tighter,
            found=stated.found,
            defects=stated.defects.strip(),
            resubmitted=stated.resubmitted,
            irregular=stated.irregular.strip(),
            accepted=stated.found < plan.re,
            by=by,
            at=at,
        )
        row.severity_after = standing_of(scheme, [*history, row]).state.value
        clean(row)
        row.save(force_insert=True)
        publish(LotInspected(by=by, at=at, subject=scheme_subject(scheme), content=inspection_content(row, plan), signing=signing))
        if not row.accepted:
            _hold(row, by, at)
    return row


def inspection_content(row: LotInspection, plan: LotPlan) -> dict[str, Any]:
    return {
        **plan_content(row.scheme, row.lot, row.lot_size, plan),
        "number": row.number,
        "criterion": row.scheme.criterion,
        "source": plan.source,
        "found": row.found,
        "defects": row.defects,
        "resubmitted": row.resubmitted,
        "irregular": row.irregular,
        "accepted": row.accepted,
        "severity_after": row.severity_after,
    }


def _lot_findings(
    scheme: SamplingScheme, lot: Lot, stated: LotInput, plan: LotPlan, history: Sequence[LotInspection]
) -> list[Finding]:  # fmt: skip
    found = []
    if not lots_of(scheme).filter(pk=lot.pk).exists() or not isinstance(lot, lots_of(scheme).model):
        return [misfit("sampling.lot", "lot", lot=str(lot), part=scheme.part.part_number)]
    earlier = [row for row in history if row.lot == lot]
    if earlier and (earlier[-1].accepted or not stated.resubmitted):
        found.append(misfit("sampling.again", "lot", lot=str(lot), outcome="accepted" if earlier[-1].accepted else "not accepted"))
    if stated.resubmitted and not earlier:
        found.append(misfit("sampling.first", "resubmitted", lot=str(lot)))
    if stated.found < 0 or (scheme.counts_pieces and stated.found > plan.n):
        found.append(misfit("sampling.found", "found", found=stated.found, n=plan.n))
    if stated.found and not stated.defects.strip():
        found.append(misfit("sampling.defects", "defects"))
    return found


def _hold(row: LotInspection, by: Person, at: datetime) -> None:
    lot = row.lot
    if isinstance(lot, TerminalLot | WireLot) and lot.state in (LotState.RECEIVED, LotState.RELEASED):
        set_lot_state(lot=lot, state=LotState.ON_HOLD, reason=_said(row, "not accepted"), by=by, at=at)


def _said(row: LotInspection, outcome: str) -> str:
    return f"{outcome} by sample, {row}: {row.found} found in {row.n}"


def waits(row: LotInspection) -> bool:
    """Whether the row is about a material lot that was received or is on hold."""
    lot = row.lot
    return not isinstance(lot, Batch) and lot.state in (LotState.RECEIVED, LotState.ON_HOLD)


def may_be_released(row: LotInspection) -> bool:
    """Whether the lot was accepted and still waits, and no scheme refused it since."""
    if not row.accepted or not waits(row):
        return False
    return not LotInspection.objects.filter(terminal_lot=row.terminal_lot, wire_lot=row.wire_lot, accepted=False, at__gt=row.at).exists()


def release_inspected_lot(*, inspection: LotInspection, by: Person, at: datetime) -> Lot:
    """Release the material lot that an inspection accepted, by the act that releases any lot. Raises Refused."""
    refuse_if(permission_findings(by, Deed.INSPECT_LOT))
    with transaction.atomic():
        _locked(inspection.scheme)
        row = LotInspection.objects.select_related("scheme", "terminal_lot", "wire_lot", "batch").get(pk=inspection.pk)
        lot = row.lot
        if not may_be_released(row) or isinstance(lot, Batch):
            raise Refused([misfit("sampling.release", "", lot=str(lot))])
        return set_lot_state(lot=lot, state=LotState.RELEASED, reason=_said(row, "accepted"), by=by, at=at)  # type: ignore[return-value]
