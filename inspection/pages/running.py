"""The run: where it stands, its chart, stopping it, what quality decides, and closing it with balanced counts."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.safestring import SafeString
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET

from inspection.acts.batches import CLOSED_MEANING, Counts, close_batch, kept_on_hold, offline_findings, pieces_tested, scrapped_by_decision
from inspection.acts.control import open_signals
from inspection.acts.holds import DECIDED_MEANING, decide_hold, last_good_count, raise_hold
from inspection.acts.offline import prepared_counts
from inspection.models import Batch, BatchStatus, Hold, HoldDecision, SampleState
from inspection.pages.floor import (
    REFUSED_PAGE,
    batch_for,
    count_in,
    draw,
    gone,
    named,
    own_signature,
    perform,
    proposed_identifier,
    signature_of_another,
)
from inspection.pages.reacting import SignalLine, signal_line
from inspection.queries import HeightRow, RunFacts, crimp_heights, height_chart, run_facts, step_url
from shop.clock import now
from shop.figures import spoken_drawing
from shop.pages.acting import Refusal, acting
from shop.permissions import Deed


@dataclass(frozen=True, slots=True)
class RunPage:
    batch: Batch
    facts: RunFacts
    chart: SafeString
    heights: int
    signals: list[SignalLine]


@require_GET
def run(request: HttpRequest, number: str) -> HttpResponse:
    batch = batch_for(number)
    busy = batch.samples.filter(state__in=[SampleState.OPEN, SampleState.WAITS_FOR_INSPECTOR]).exists()
    if batch.status != BatchStatus.RUNNING or busy:
        return redirect(step_url(batch))
    rows = crimp_heights(batch)
    signals = [signal_line(signal) for signal in open_signals(batch)]
    chart = spoken_drawing(height_chart(batch, rows))
    return draw(request, "make/run.html", RunPage(batch, run_facts(batch, now()), chart, len(rows), signals), batch=batch)


@dataclass(frozen=True, slots=True)
class ReadingsPage:
    batch: Batch
    rows: tuple[HeightRow, ...]
    limits: str


@require_GET
def readings(request: HttpRequest, number: str) -> HttpResponse:
    """The chart's data as a table, the newest on top."""
    batch = batch_for(number)
    t = batch.termination
    limits = f"{t.crimp_height_min_mm:.3f} – {t.crimp_height_max_mm:.3f} mm" if t.crimp_height_min_mm and t.crimp_height_max_mm else ""
    return draw(request, "make/readings.html", ReadingsPage(batch, tuple(reversed(crimp_heights(batch))), limits), batch=batch)


# --- Stopping --------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class StopPage:
    batch: Batch
    count: str
    reason: str
    last_good: int


def _stop(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    batch = batch_for(number)
    if batch.status not in (BatchStatus.FIRST_PIECE, BatchStatus.RUNNING, BatchStatus.CLOSING):
        return gone(request, batch, refusal) if refusal else redirect(step_url(batch))
    count = request.POST.get("at_count", str(batch.last_count))
    page = StopPage(batch, count, request.POST.get("reason", ""), last_good_count(batch))
    return draw(request, "make/stop.html", page, batch=batch, refusal=refusal)


@acting(again=_stop, template=REFUSED_PAGE)
def stop(request: HttpRequest, number: str) -> HttpResponse:
    """Anybody at the press who sees something wrong stops the run, with the count and a reason."""
    if request.method != "POST":
        return _stop(request, number)
    batch, at_count = batch_for(number), count_in(request, "at_count")
    reason = request.POST.get("reason", "")
    perform(request, "stop the run", lambda by, at: raise_hold(batch=batch, reason=reason, at_count=at_count, by=by, at=at).pk)
    return redirect("make:hold", number)


@dataclass(frozen=True, slots=True)
class HoldPage:
    """The hold and, on the screen of the decision, what was typed so far."""

    batch: Batch
    hold: Hold
    first_suspect: int
    decisions: tuple[tuple[str, str, bool], ...]
    reason: str
    scrapped: str
    kept_held: str
    identifier: str
    name: str
    meaning: str


def _hold_page(request: HttpRequest, number: str, template: str, refusal: Refusal | None) -> HttpResponse:
    batch = batch_for(number)
    hold = batch.holds.filter(decided_at__isnull=True).select_related("raised_by", "sample").first()
    if batch.status != BatchStatus.ON_HOLD or hold is None:
        return gone(request, batch, refusal) if refusal else redirect(step_url(batch))
    identifier = proposed_identifier(request, Deed.DECIDE_HOLD)
    chosen = request.POST.get("decision", "")
    page = HoldPage(
        batch=batch,
        hold=hold,
        first_suspect=hold.suspect_from + 1,
        decisions=tuple((d.value, str(d.label), d.value == chosen) for d in HoldDecision),
        reason=request.POST.get("reason", ""),
        scrapped=request.POST.get("scrapped", "0"),
        kept_held=request.POST.get("kept_held", "0"),
        identifier=identifier,
        name=named(identifier),
        meaning=DECIDED_MEANING,
    )
    return draw(request, template, page, batch=batch, refusal=refusal)


def hold(request: HttpRequest, number: str) -> HttpResponse:
    """The run is stopped: why, and which pieces are suspect."""
    return _hold_page(request, number, "make/hold.html", None)


def _decide(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    return _hold_page(request, number, "make/decide.html", refusal)


@sensitive_post_parameters("secret")
@acting(again=_decide, template=REFUSED_PAGE)
def decide(request: HttpRequest, number: str) -> HttpResponse:
    """Quality or an inspector decides at this tablet, with badge and PIN."""
    if request.method != "POST":
        return _decide(request, number)
    batch = batch_for(number)
    scrapped, kept = count_in(request, "scrapped"), count_in(request, "kept_held")
    signing = signature_of_another(request, DECIDED_MEANING)
    held = batch.holds.order_by("pk").last()
    if held is None:
        return redirect(step_url(batch))
    perform(
        request,
        "decide on hold",
        lambda by, at: (
            decide_hold(
                hold=held,
                decision=request.POST.get("decision", ""),
                reason=request.POST.get("reason", ""),
                scrapped=scrapped,
                kept_held=kept,
                by=by,
                at=at,
                signing=signing,
            ).pk
        ),
        by=signing.person,
    )
    return redirect("make:batch", number)


# --- Closing ---------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CloseFields:
    made: str
    good: str
    scrap: str
    destroyed: str
    held: str


@dataclass(frozen=True, slots=True)
class ClosePage:
    """The counts, proposed from what is known: what pull tests destroyed, what quality had scrapped and kept on hold."""

    batch: Batch
    counts: CloseFields
    tested: int
    scrapped: int
    kept: int
    meaning: str
    unconfirmed: bool
    undecided: bool


def _close(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    batch = batch_for(number)
    if batch.status != BatchStatus.CLOSING:
        return gone(request, batch, refusal) if refusal else redirect(step_url(batch))
    tested, scrapped, kept = pieces_tested(batch), scrapped_by_decision(batch), kept_on_hold(batch)
    proposed = {
        "made": batch.last_count,
        "good": max(batch.last_count - tested - scrapped - kept, 0),
        "scrap": scrapped,
        "destroyed": tested,
        "held": kept,
    }
    proposed |= {name: value for name, value in prepared_counts(batch).items() if name in proposed}
    counts = CloseFields(**{name: request.POST.get(name, str(value)) for name, value in proposed.items()})
    waits = {finding.rule for finding in offline_findings(batch)}
    unconfirmed, undecided = "batch.unconfirmed" in waits, "batch.undecided" in waits
    page = ClosePage(batch, counts, tested, scrapped, kept, CLOSED_MEANING, unconfirmed, undecided)
    return draw(request, "make/close.html", page, batch=batch, refusal=refusal)


@sensitive_post_parameters("secret")
@acting(again=_close, template=REFUSED_PAGE)
def close(request: HttpRequest, number: str) -> HttpResponse:
    """Every piece is accounted for; the operator signs."""
    if request.method != "POST":
        return _close(request, number)
    batch = batch_for(number)
    counts = Counts(**{name: count_in(request, name) for name in ("made", "good", "scrap", "destroyed", "held")})
    signing = own_signature(request, CLOSED_MEANING)
    perform(request, "close batch", lambda by, at: close_batch(batch=batch, counts=counts, by=by, at=at, signing=signing).pk)
    return redirect("make:closed", number)


@require_GET
def closed(request: HttpRequest, number: str) -> HttpResponse:
    batch = batch_for(number)
    if batch.status != BatchStatus.CLOSED:
        return redirect(step_url(batch))
    return draw(request, "make/closed.html", batch, batch=batch)
