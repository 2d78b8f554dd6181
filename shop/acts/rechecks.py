"""Re-checking every released sheet: asked for by a person or by a change of the catalogue, done in the background, recorded at its end."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import F

from shop.clock import now, shop_day
from shop.events import RecheckFinished, publish
from shop.facts import Known, known_of
from shop.finding import Finding, refuse_if
from shop.jobs import SheetStatus, Termination
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.planning import TO_CHECK, TerminationCheck, checks_of
from shop.rechecks import Recheck, SheetFlag
from shop.wording import shown

CHUNK = 500
"""Terminations held against the rules between two looks at the progress; the writer's lock is given back as often."""

NAMED = 200
"""Flags that the ledger entry names one by one; beyond that it gives their number. Every flag is kept in its own row anyway."""


def order_recheck(*, by: Person, at: datetime) -> Recheck | None:
    """A person wants to know now. None where no sheet is in force. Raises Refused."""
    refuse_if(permission_findings(by, Deed.RELEASE_SHEET))
    return ask_recheck(reason="asked for", by=by, at=at)


def ask_recheck(*, reason: str, by: Person, at: datetime) -> Recheck | None:
    """Have every released sheet checked again once this transaction is committed. None where no sheet is in force.

    One that waits already will see this change too: its row is locked until we commit, so that it cannot begin before.
    """
    from shop.tasks import recheck_released_sheets  # noqa: PLC0415  # the task calls this module

    with transaction.atomic():
        if not _released().exists():
            return None
        waiting = Recheck.objects.select_for_update().filter(started_at__isnull=True, finished_at__isnull=True).first()
        if waiting is not None:
            if reason not in waiting.reason:
                waiting.reason = f"{waiting.reason}; {reason}"[:200]
                waiting.save(update_fields=["reason"])
        else:
            waiting = Recheck.objects.create(reason=reason[:200], asked_by=by, asked_at=at)
        key = waiting.pk
        transaction.on_commit(lambda: recheck_released_sheets.enqueue(key))
    return waiting


def _released() -> Any:
    return Termination.objects.filter(sheet__status=SheetStatus.RELEASED)


@dataclass(slots=True)
class _Tally:
    raised: list[str]
    cleared: int = 0
    raised_count: int = 0


def recheck(*, key: int) -> Recheck:
    """Do a re-check that was asked for: once, whoever comes first. A fault is written into its row and raised again."""
    with transaction.atomic():
        row = Recheck.objects.select_for_update().get(pk=key)
        if row.started_at is not None:
            return row
        row.started_at = now()
        row.total = _released().count()
        row.save(update_fields=["started_at", "total"])
    try:
        _check_all(row)
    except Exception as error:
        Recheck.objects.filter(pk=key).update(finished_at=now(), error=f"{type(error).__name__}: {error}"[:300])
        raise
    return Recheck.objects.get(pk=key)


def _check_all(row: Recheck) -> None:
    on = shop_day(row.started_at or now())
    keys = list(_released().order_by("sheet", "position").values_list("pk", flat=True))
    known = known_of(_released().values_list("terminal", flat=True).distinct(), on)
    tally = _Tally([])
    for begin in range(0, len(keys), CHUNK):
        with transaction.atomic():
            checked = _check_chunk(keys[begin : begin + CHUNK], known, on, tally)
            Recheck.objects.filter(pk=row.pk).update(
                done=F("done") + checked, raised=tally.raised_count, cleared=tally.cleared, total=len(keys)
            )
    with transaction.atomic():
        # A sheet that was superseded or withdrawn meanwhile would not be released today either: nobody has to look at it any more.
        gone = SheetFlag.objects.filter(cleared_at__isnull=True).exclude(sheet__status=SheetStatus.RELEASED).update(cleared_at=now())
        at = now()
        content = {
            "reason": row.reason,
            "asked_at": row.asked_at,
            "terminations": len(keys),
            "raised": tally.raised_count,
            "cleared": tally.cleared,
            "no_longer_in_force": gone,
            "flags": tally.raised[:NAMED],
        }
        Recheck.objects.filter(pk=row.pk).update(finished_at=at, done=len(keys))
        publish(RecheckFinished(by=row.asked_by, at=at, subject=("re-check", row.pk, f"re-check {row.pk}"), content=content))


def _check_chunk(keys: Sequence[int], known: Known, on: date, tally: _Tally) -> int:
    """Raise, keep and clear the flags of these terminations; nine queries, whatever their number."""
    rows = Termination.objects.filter(pk__in=keys, sheet__status=SheetStatus.RELEASED).order_by("sheet", "position")
    terminations = list(rows.select_related(*TO_CHECK).prefetch_related("termination_wires__wire"))
    flagged: dict[tuple[int, str], SheetFlag] = {
        (flag.termination_id, flag.rule): flag for flag in SheetFlag.objects.filter(termination__in=keys, cleared_at__isnull=True)
    }
    at = now()
    new, changed = [], []
    for check in checks_of(terminations, on, known):
        for finding in _once_each(check.blocking):
            compared = {name: shown(value) for name, value in finding.compared.items()}
            flag = flagged.pop((check.termination.pk, finding.rule), None)
            if flag is None:
                new.append(_flag(check, finding, compared, at))
                tally.raised.append(f"{check.termination}: {finding.rule}")
            elif (flag.compared, flag.verdict) != (compared, finding.verdict.value):
                flag.compared, flag.verdict = compared, finding.verdict.value
                changed.append(flag)
    SheetFlag.objects.bulk_create(new)
    if changed:
        SheetFlag.objects.bulk_update(changed, ["compared", "verdict"])
    SheetFlag.objects.filter(pk__in=[flag.pk for flag in flagged.values()]).update(cleared_at=at)
    tally.raised_count += len(new)
    tally.cleared += len(flagged)
    return len(keys)


def _once_each(findings: Iterable[Finding]) -> list[Finding]:
    """One flag for each rule: a termination can break a rule twice, but has to be looked at once."""
    by_rule: dict[str, Finding] = {}
    for finding in findings:
        by_rule.setdefault(finding.rule, finding)
    return list(by_rule.values())


def _flag(check: TerminationCheck, finding: Finding, compared: dict[str, str], at: datetime) -> SheetFlag:
    t = check.termination
    return SheetFlag(sheet_id=t.sheet_id, termination=t, rule=finding.rule, compared=compared, verdict=finding.verdict.value, raised_at=at)
