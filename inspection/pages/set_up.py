"""The set-up check, and changes of tool, reel, spool or gauge during the run: one scan, one big answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _

from inspection.acts.batches import scan
from inspection.models import Batch, BatchStatus, SetupPart, SetupScan
from inspection.pages.floor import REFUSED_PAGE, batch_for, count_in, draw, gone, perform
from inspection.queries import evidence_line, scan_findings, step_url, words_of
from inspection.scanning import Found, aside, found_for, kind_of, missing_in_order, wanted_part
from inspection.set_up import PartState, six_parts, slot_of
from shop.finding import Refused, misfit
from shop.pages.acting import Refusal, acting, refusal_of
from shop.people import Person
from shop.wording import Worded


@dataclass(frozen=True, slots=True)
class LotChoice:
    """One of the lots a label may belong to."""

    number: str
    part: str
    note: str


@dataclass(frozen=True, slots=True)
class Answer:
    """The newest scan: yes or no, and why. again: it was proven by this very label before. aside: a kind word about the order.

    choices: what the label may belong to, where a person has to say which.
    """

    code: str
    accepted: bool
    part: str
    findings: tuple[Worded, ...]
    again: bool = False
    aside: str = ""
    scanned: str = ""
    choices: tuple[LotChoice, ...] = ()


@dataclass(frozen=True, slots=True)
class PastScan:
    code: str
    part: str
    accepted: bool
    why: str


@dataclass(frozen=True, slots=True)
class SetUpPage:
    batch: Batch
    wanted: str
    missing: tuple[str, ...]
    proven: bool
    may_scan: bool
    answer: Answer | None
    earlier: tuple[PastScan, ...]
    setting: str


def _answer(row: SetupScan, parts: Sequence[PartState]) -> Answer:
    findings = words_of(scan_findings(row))
    told = [f for f in findings if f.verdict != "fits"] if not row.accepted else findings
    thing = row.tool or row.press or row.terminal_lot or row.wire_lot or row.gauge
    said = aside(row.part, kind_of(thing), row.accepted, parts) if thing else ""
    return Answer(row.code, row.accepted, row.get_part_display(), tuple(told), _proven_before(row), said, row.scanned)


def _proven_before(row: SetupScan) -> bool:
    """Whether the same thing already stood in its place when it was scanned: the label was only scanned once more."""
    if not row.accepted:
        return False
    earlier = row.batch.scans.filter(accepted=True, part=row.part, pk__lt=row.pk).select_related("wire_lot__wire", "gauge").order_by("-pk")
    before = next((one for one in earlier if slot_of(one) == slot_of(row)), None)
    return before is not None and before.code == row.code


def _unrecorded(found: Found) -> Answer:
    """The answer to a label that is nothing here, or that may be several things."""
    finding = found.finding or misfit("scan.unknown", "code", code=found.text)
    choices = tuple(LotChoice(lot.lot_number, lot.part.part_number, lot.get_state_display()) for lot in found.choices)
    return Answer(found.text, False, "", tuple(words_of([finding])), choices=choices)


def _page(batch: Batch, *, also: Answer | None = None) -> SetUpPage:
    parts = six_parts(batch)
    missing = missing_in_order(parts)
    # What was checked at the opening (person, sheet) is shown by its seal; the list is about things that were scanned.
    rows = list(batch.scans.exclude(part__in=[SetupPart.PEOPLE, SetupPart.DOCUMENTS]).order_by("-pk")[:12])
    newest = also or (_answer(rows[0], parts) if rows else None)
    earlier = rows if also else rows[1:]
    return SetUpPage(
        batch=batch,
        wanted=missing[0] if missing else "",
        missing=tuple(missing[1:]),
        proven=not missing,
        may_scan=batch.status in (BatchStatus.SET_UP, BatchStatus.FIRST_PIECE),
        answer=newest,
        earlier=tuple(
            PastScan(
                row.code,
                row.get_part_display(),
                row.accepted,
                evidence_line(row) if row.accepted else " ".join(f.what for f in words_of(scan_findings(row)) if f.verdict != "fits"),
            )
            for row in earlier
        ),
        setting=wanted_part(parts) or SetupPart.TOOL.value,
    )


def _set_up(request: HttpRequest, number: str, *, refusal: Refusal | None = None, also: Answer | None = None) -> HttpResponse:
    batch = batch_for(number)
    page = _page(batch, also=also)
    if not page.may_scan:
        return gone(request, batch, refusal) if refusal else redirect(step_url(batch))
    response = draw(request, "make/set_up.html", page, batch=batch, refusal=refusal, part="inspection" if page.proven else page.setting)
    if page.answer and not page.answer.accepted and request.method == "POST":
        response.status_code = 422
    return response


@acting(again=_set_up, template=REFUSED_PAGE)
def set_up(request: HttpRequest, number: str) -> HttpResponse:
    """Each scan is held against the released sheet and answered at once. A refused one stays visible and on record."""
    if request.method != "POST":
        return _set_up(request, number)
    batch = batch_for(number)
    code = request.POST.get("code", "")
    given = _scan(request, batch, code, None)
    if given is not None:
        return _set_up(request, number, also=given)
    newest = batch.scans.order_by("-pk").first()
    return redirect("make:set-up", number) if newest is None or newest.accepted else _set_up(request, number)


def _scan(request: HttpRequest, batch: Batch, code: str, at_count: int | None) -> Answer | None:
    """Scan once; an answer that stands on no record (an unknown label) comes back to be shown."""
    if not code.strip():
        raise Refused([misfit("data.required", "code")])

    def do(by: Person, at: datetime) -> str:
        answer = scan(batch=batch, code=code, by=by, at=at, at_count=at_count)
        return "accepted" if answer.accepted else "refused" if answer.part else "unknown"

    if perform(request, "scan", do) == "unknown":
        return _unrecorded(found_for(code))
    return None


# --- During the run --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ChangePage:
    """First the count, then the scan."""

    batch: Batch
    count: str
    asks_count: bool
    proposed: int
    answer: Answer | None
    in_use: tuple[str, ...]


def _change(request: HttpRequest, number: str, *, refusal: Refusal | None = None, also: Answer | None = None) -> HttpResponse:
    batch = batch_for(number)
    if batch.status not in (BatchStatus.RUNNING, BatchStatus.FIRST_PIECE):
        return gone(request, batch, refusal) if refusal else redirect(step_url(batch))
    count = request.POST.get("at_count", request.GET.get("at_count", "")).strip()
    below = refusal is not None and any(f.field == "at_count" for f in refusal.findings)
    typed_well = count.isascii() and count.isdigit() and len(count) <= 9
    if typed_well and refusal is None and int(count) < batch.last_count:
        refusal, below = refusal_of([misfit("batch.counts.below", "at_count", made=count, last=batch.last_count)]), True
    newest, parts = also, six_parts(batch)
    if newest is None and request.method == "POST" and refusal is None:
        row = batch.scans.order_by("-pk").first()
        newest = _answer(row, parts) if row else None
    things = [part for part in parts if part.part not in (SetupPart.PEOPLE, SetupPart.DOCUMENTS)]
    slots = [evidence_line(row) for part in things for row in part.scans]
    page = ChangePage(batch, count, not typed_well or below, batch.last_count, newest, tuple(slots))
    response = draw(request, "make/change.html", page, batch=batch, refusal=refusal, part="terminal")
    if newest and not newest.accepted:
        response.status_code = 422
    return response


@acting(again=_change, template=REFUSED_PAGE)
def change(request: HttpRequest, number: str) -> HttpResponse:
    """A reel, spool, tool or gauge is changed at a piece count. All but a gauge ask for a new first piece."""
    if request.method != "POST":
        return _change(request, number)
    batch = batch_for(number)
    code, at_count = request.POST.get("code", ""), count_in(request, "at_count")
    unknown = _scan(request, batch, code, at_count)
    if unknown is not None:
        return _change(request, number, also=unknown)
    newest = batch.scans.order_by("-pk").first()
    if newest is None or not newest.accepted:
        return _change(request, number)
    before, batch, code = batch.setup_number, batch_for(number), newest.code
    if batch.setup_number > before:
        said = _("%(code)s is in use from piece %(piece)d on. A new first piece proves it.")
        messages.success(request, said % {"code": code, "piece": at_count + 1})
    elif _proven_before(newest):
        messages.success(request, _("%(code)s was in use already. Nothing has changed.") % {"code": code})
    else:
        messages.success(request, _("%(code)s is in use.") % {"code": code})
    return redirect("make:batch", number)
