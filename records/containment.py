"""What is suspect when something turns out to be wrong: a question, and by the trace the batches, lots and shipments it reaches."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import F, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from inspection.models import Batch, BatchStatus, LoadedLot, Sample
from records.balances import harnesses_left_of, pieces_left, still_away_of
from records.models import HarnessLot, HarnessLotBatch, Question, Shipment, SuspectPlace
from records.trace import Found, batches_with, find, parts_ahead, read_batches
from shop.clock import midnight
from shop.finding import Refused, misfit
from shop.tools import CalibrationResult, Gauge

MOST_BATCHES = 2000
"""Batches in one case: more than that nobody works through as one list."""


@dataclass(frozen=True, slots=True)
class Questioned:
    """What was found wrong, with the time or the tool's count from which everything is suspect.

    since, until: a batch is suspect when it was open at any moment between them. since_count: the tool's counter, for tools.
    """

    question: str
    subject_id: int
    name: str
    since: datetime | None = None
    until: datetime | None = None
    since_count: int | None = None

    @property
    def found(self) -> Found:
        return Found(self.question, self.subject_id, self.name)


def question_about(
    question: str, name: str, *, since: datetime | None = None, until: datetime | None = None, since_count: int | None = None
) -> Questioned:
    """The question about a thing named by its number. Raises Refused where nothing carries it or the time runs backwards."""
    if question not in Question.values:
        raise Refused([misfit("data.invalid", "question", message=f"{question} is not a question of containment.")])
    things = find(name, [question])
    if not things:
        raise Refused([misfit("data.invalid", "subject", message=f"No {question} carries the number {name}.")])
    exact = next((one for one in things if one.name == name), things[0])
    if since is not None and until is not None and until <= since:
        raise Refused([misfit("containment.span", "to")])
    return Questioned(question, exact.pk, exact.name, since, until, since_count if question == Question.TOOL else None)


def gauge_question(gauge: Gauge) -> Questioned | None:
    """The question of a gauge whose newest calibration was out of tolerance: everything since the last good one. None: it was good.

    A gauge that was adjusted may have been out of tolerance as found; whoever calibrated it knows, and quality asks then by hand.
    """
    newest = gauge.calibrations.order_by("-calibrated_on", "-pk").first()
    if newest is None or newest.result != CalibrationResult.OUT_OF_TOLERANCE:
        return None
    good = (
        gauge.calibrations.exclude(result=CalibrationResult.OUT_OF_TOLERANCE)
        .filter(calibrated_on__lte=newest.calibrated_on)
        .order_by("-calibrated_on", "-pk")
        .first()
    )
    since = midnight(good.calibrated_on) if good else None
    return Questioned(Question.GAUGE, gauge.pk, gauge.asset_number, since, midnight(newest.calibrated_on + timedelta(days=1)))


def suspect_batches(asked: Questioned) -> QuerySet[Batch]:
    """The batches a question makes suspect."""
    batches = batches_with(asked.found, asked.since, asked.until)
    if asked.since_count is not None:
        # Samples carry the tool's counter. A batch without one that was closed may have run at any count: it stays suspect.
        counted = Sample.objects.filter(tool_count__isnull=False).order_by().values("batch")
        after = counted.filter(tool_count__gte=asked.since_count)
        batches = batches.filter(Q(pk__in=after) | ~Q(pk__in=counted) | ~Q(status=BatchStatus.CLOSED))
    return batches


@dataclass(frozen=True, slots=True)
class Line:
    """One suspect: pieces of a batch, or harnesses of a lot in stock or sent with a shipment."""

    place: str
    quantity: int
    batch: Batch | None = None
    lot: HarnessLot | None = None
    shipment: Shipment | None = None

    @property
    def order(self) -> tuple[int, str, str]:
        places = [place.value for place in SuspectPlace]
        number = self.batch.number if self.batch else self.lot.number if self.lot else ""
        return (places.index(self.place), number, self.shipment.number if self.shipment else "")


def suspects(asked: Questioned) -> list[Line]:
    """Everything a question makes suspect, by where it is now. Raises Refused for more than one case takes.

    Pieces made off a reel count by the counts at which it was loaded; once pieces of a batch are mixed in a lot, all of the lot is suspect.
    """
    wanted = suspect_batches(asked)
    batches = read_batches(wanted, "termination__sheet__job", most=MOST_BATCHES + 1)
    if len(batches) > MOST_BATCHES:
        raise Refused([misfit("containment.too_many", found=wanted.count(), most=MOST_BATCHES)])
    used = _pieces_off(asked, batches)
    lines = [line for batch in batches if (line := _in_the_shop(batch, used.get(batch.pk))) is not None]
    lots = _lots_of(batches)
    left = harnesses_left_of(lots)
    lines += [Line(SuspectPlace.STOCK, left[lot.pk], lot=lot) for lot in lots if left[lot.pk] > 0]
    lines += [Line(SuspectPlace.SHIPPED, n, lot=lot, shipment=shipment) for shipment, lot, n in still_away_of(lots) if n > 0]
    return sorted(lines, key=lambda line: line.order)


def _in_the_shop(batch: Batch, used: int | None) -> Line | None:
    """Pieces of a batch that are in no lot: of a running batch what was counted so far, even if that is none yet."""
    if batch.status == BatchStatus.SET_UP:
        return None  # nothing was made
    if batch.status != BatchStatus.CLOSED:
        return Line(SuspectPlace.IN_PROCESS, batch.last_count if used is None else min(used, batch.last_count), batch=batch)
    left = pieces_left(batch)
    suspect = left if used is None else min(left, used)
    return Line(SuspectPlace.PIECES, suspect, batch=batch) if suspect > 0 else None


def _pieces_off(asked: Questioned, batches: Iterable[Batch]) -> dict[int, int]:
    """Pieces of each batch made off a reel or spool; empty for other questions."""
    if asked.question not in (Question.WIRE_LOT, Question.TERMINAL_LOT):
        return {}
    column = asked.question.replace(" ", "_")
    rows = LoadedLot.objects.filter(batch__in=[b.pk for b in batches], **{column: asked.subject_id}).order_by()
    end = Coalesce("to_count", "batch__last_count")
    return dict(rows.values_list("batch").annotate(n=Sum(end - F("from_count"))).values_list("batch", "n"))


def _lots_of(batches: Iterable[Batch]) -> list[HarnessLot]:
    """The lots these batches are in, directly or through other lots."""
    direct = set(HarnessLotBatch.objects.filter(batch__in=[b.pk for b in batches]).values_list("lot", flat=True))
    every = direct | {part.lot_id for part in parts_ahead(direct)}
    return list(HarnessLot.objects.filter(pk__in=every).select_related("job__customer").order_by("number"))
