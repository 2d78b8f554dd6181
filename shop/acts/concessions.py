"""What quality does with concessions: grant one, withdraw one. Using one up follows from the batches made under it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Sum

from shop.clock import shop_day
from shop.concessions import Concession, ConcessionUse
from shop.events import ConcessionGranted, ConcessionWithdrawn, Signing, publish
from shop.finding import Finding, Verdict, misfit, refuse_if
from shop.jobs import SetupSheet, SheetStatus, Termination
from shop.materials import TerminalLot, WireLot
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.sign_on import signing_findings
from shop.validation import clean
from shop.wording import RULES

GRANTED_MEANING = "concession granted"
WITHDRAWN_MEANING = "concession withdrawn"

PIECE_RULE = "piece.nonconforming"
"""Lets pieces that were made already be used as they are; also pieces of a sheet that is no longer in force."""

LOT_RULES = ("use.lot.state", "use.lot.shelf_life")
"""Rules that hang on the material lot; all others hang on a sheet or a termination."""


@dataclass(frozen=True, slots=True)
class Scope:
    """What a concession covers: exactly one of these."""

    sheet: SetupSheet | None = None
    termination: Termination | None = None
    wire_lot: WireLot | None = None
    terminal_lot: TerminalLot | None = None

    @property
    def named(self) -> str:
        for kind, thing in (
            ("sheet", self.sheet),
            ("termination", self.termination),
            ("wire lot", self.wire_lot),
            ("terminal lot", self.terminal_lot),
        ):
            if thing is not None:
                return f"{kind} {thing}"
        return ""

    @property
    def is_a_lot(self) -> bool:
        return self.wire_lot is not None or self.terminal_lot is not None


def concedable_rules() -> list[str]:
    """The codes quality may let through, in order."""
    return sorted(code for code, words in RULES.items() if words.concedable)


def _findings(rule: str, scope: Scope, quantity_limit: int | None, expires_on: date | None, reason: str, on: date) -> list[Finding]:
    found = []
    words = RULES.get(rule)
    if words is None:
        found.append(misfit("data.unknown", "rule", thing="rule", name=rule))
    elif not words.concedable:
        found.append(misfit("concession.never", "rule", code=rule, title=str(words.title)))
    given = [thing for thing in (scope.sheet, scope.termination, scope.wire_lot, scope.terminal_lot) if thing is not None]
    if len(given) != 1:
        found.append(misfit("concession.scope", "scope"))
    elif scope.is_a_lot != (rule in LOT_RULES):
        found.append(misfit("concession.scope.rule", "scope", code=rule, scope=scope.named))
    sheet = scope.sheet or (scope.termination.sheet if scope.termination else None)
    if rule != PIECE_RULE and sheet is not None and sheet.status in (SheetStatus.SUPERSEDED, SheetStatus.WITHDRAWN):
        found.append(misfit("sheet.status", "scope", sheet=str(sheet), status=sheet.status, needed="draft, in review or released"))
    if quantity_limit is None and expires_on is None:
        found.append(misfit("concession.limit", "quantity_limit"))
    if expires_on is not None and expires_on < on:
        found.append(misfit("concession.past", "expires_on", day=expires_on.isoformat()))
    if not reason.strip():
        found.append(misfit("concession.reason", "reason"))
    return found


def concession_content(concession: Concession) -> dict[str, Any]:
    """What quality signs."""
    scope = Scope(concession.sheet, concession.termination, concession.wire_lot, concession.terminal_lot)
    return {
        "concession": concession.number,
        "rule": concession.rule,
        "scope": scope.named,
        "quantity_limit": concession.quantity_limit,
        "expires_on": concession.expires_on,
        "reason": concession.reason,
    }


def grant_concession(
    *,
    rule: str,
    scope: Scope,
    reason: str,
    by: Person,
    at: datetime,
    signing: Signing,
    quantity_limit: int | None = None,
    expires_on: date | None = None,
) -> Concession:
    """Let one rule through, for one sheet, termination or lot, up to a quantity or a day. Raises Refused."""
    refuse_if(
        permission_findings(by, Deed.GRANT_CONCESSION)
        + signing_findings(signing, by, GRANTED_MEANING)
        + _findings(rule, scope, quantity_limit, expires_on, reason, shop_day(at))
    )
    with transaction.atomic():
        # Two grants at the same moment would draw the same number: the unique number lets one through, the other is a lost race.
        number = f"C-{Concession.objects.count() + 1:04d}"
        concession = Concession(
            number=number,
            rule=rule,
            sheet=scope.sheet,
            termination=scope.termination,
            wire_lot=scope.wire_lot,
            terminal_lot=scope.terminal_lot,
            quantity_limit=quantity_limit,
            expires_on=expires_on,
            reason=reason.strip(),
            granted_by=by,
            granted_at=at,
        )
        clean(concession)
        concession.save(force_insert=True)
        subject = ("concession", concession.pk, concession.number)
        publish(ConcessionGranted(by=by, at=at, subject=subject, content=concession_content(concession), signing=signing))
    return concession


def withdraw_concession(*, concession: Concession, reason: str, by: Person, at: datetime, signing: Signing) -> Concession:
    """End a concession before its limit. What was made under it stays covered."""
    with transaction.atomic():
        concession = Concession.objects.select_for_update().get(pk=concession.pk)
        findings = permission_findings(by, Deed.GRANT_CONCESSION) + signing_findings(signing, by, WITHDRAWN_MEANING)
        if concession.withdrawn_at is not None:
            findings.append(misfit("concession.over", concession=concession.number))
        if not reason.strip():
            findings.append(misfit("concession.reason", "reason"))
        refuse_if(findings)
        concession.withdrawn_at, concession.withdrawn_by, concession.withdrawn_because = at, by, reason.strip()
        concession.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_because"])
        content = concession_content(concession) | {"withdrawn_because": reason.strip()}
        publish(
            ConcessionWithdrawn(by=by, at=at, subject=("concession", concession.pk, concession.number), content=content, signing=signing)
        )
    return concession


def lot_concessions(lot: WireLot | TerminalLot, on: date) -> list[Concession]:
    """The live concessions of a material lot. Those of sheets and terminations: `shop.planning.live_concessions`."""
    live = Concession.objects.live(on)
    return list(live.filter(wire_lot=lot) if isinstance(lot, WireLot) else live.filter(terminal_lot=lot))


def concession_numbers(findings: Iterable[Finding]) -> list[str]:
    """The concessions that findings were let through by, each once."""
    return list(dict.fromkeys(str(f.compared["concession"]) for f in findings if f.verdict is Verdict.CONCEDED))


def quantity_findings(numbers: Iterable[str], quantity: int) -> list[Finding]:
    """Whether the pieces still fit into the limits of the concessions they would be made under."""
    found = []
    for concession in Concession.objects.filter(number__in=list(numbers), quantity_limit__isnull=False):
        left = (concession.quantity_limit or 0) - (concession.uses.aggregate(n=Sum("quantity"))["n"] or 0)
        if quantity > left:
            found.append(misfit("concession.left", "quantity", concession=concession.number, left=max(left, 0), quantity=quantity))
    return found


def use_concessions(numbers: Iterable[str], *, batch: str, quantity: int, at: datetime) -> None:
    """Count the pieces of a batch against the concessions it was made under. Part of the act that closes the batch."""
    if quantity > 0:
        for concession in Concession.objects.select_for_update().filter(number__in=set(numbers)).order_by("pk"):
            ConcessionUse.objects.create(concession=concession, batch=batch, quantity=quantity, at=at)
