"""Looking at a sample by the visual criteria, and correcting what was recorded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.translation import gettext as _

from inspection.acts.samples import record_visual
from inspection.criteria import VisualCriterion
from inspection.models import PullTest, Reading, Sample, SampleState, VisualFinding
from inspection.pages.floor import REFUSED_PAGE, draw, gone, perform
from inspection.pages.samples import LastAnswer, last_answer, sample_for, sample_url
from inspection.pages.values import draw_pull, draw_reading, record_typed_force, record_typed_length
from inspection.plan import plan_of
from shop.finding import Refused, misfit
from shop.pages.acting import Refusal, acting
from shop.people import Person


@dataclass(frozen=True, slots=True)
class CriterionRow:
    criterion: VisualCriterion
    answer: str
    note: str


@dataclass(frozen=True, slots=True)
class VisualPage:
    sample: Sample
    rows: tuple[CriterionRow, ...]
    last: LastAnswer | None
    corrected: str
    reason: str


def _visual(request: HttpRequest, number: str, sample: int, *, refusal: Refusal | None = None) -> HttpResponse:
    taken = sample_for(number, sample)
    answered = set(taken.visual_findings.standing().values_list("criterion", flat=True))
    left = [c for c in plan_of(taken).criteria if c.code not in answered]
    if taken.state != SampleState.OPEN or not left:
        return gone(request, taken.batch, refusal) if refusal else redirect(sample_url(taken))
    page = VisualPage(taken, _rows(request, left), last_answer(taken, request.GET.get("after", "")), "", "")
    return draw(request, "make/visual.html", page, batch=taken.batch, refusal=refusal)


def _rows(request: HttpRequest, criteria: Sequence[VisualCriterion]) -> tuple[CriterionRow, ...]:
    return tuple(CriterionRow(c, request.POST.get(c.code, ""), request.POST.get(f"note-{c.code}", "")) for c in criteria)


@acting(again=_visual, template=REFUSED_PAGE)
def visual(request: HttpRequest, number: str, sample: int) -> HttpResponse:
    """Accept or reject, one by one; one touch accepts everything not marked otherwise. Each criterion is a record of its own."""
    if request.method != "POST":
        return _visual(request, number, sample)
    taken = sample_for(number, sample)
    answered = set(taken.visual_findings.standing().values_list("criterion", flat=True))
    rest = "accept" if "all" in request.POST else ""
    answers = [(c.code, request.POST.get(c.code) or rest) for c in plan_of(taken).criteria if c.code not in answered]
    given = [(code, answer == "accept", request.POST.get(f"note-{code}", "")) for code, answer in answers if answer in ("accept", "reject")]

    def do(by: Person, at: datetime) -> int:
        if not given:
            raise Refused([misfit("sample.incomplete", missing=_("an answer"))])
        for code, accepted, note in given:
            record_visual(sample=taken, criterion=code, accepted=accepted, note="" if accepted else note, by=by, at=at)
        return len(given)

    perform(request, "visual", do)
    return redirect(sample_url(taken))


# --- Corrections -----------------------------------------------------------------------------------------------------------------


def _correct(request: HttpRequest, number: str, sample: int, what: str, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    taken = sample_for(number, sample)
    if what == "reading":
        row = get_object_or_404(Reading, pk=pk, sample=taken)
        return draw_reading(request, number, sample, row.characteristic, row.piece, refusal=refusal, corrects=row)
    if what == "pull":
        pulled = get_object_or_404(PullTest, pk=pk, sample=taken)
        return draw_pull(request, number, sample, pulled.piece, refusal=refusal, corrects=pulled)
    seen = get_object_or_404(VisualFinding, pk=pk, sample=taken)
    criterion = next(c for c in plan_of(taken).criteria if c.code == seen.criterion)
    if taken.state != SampleState.OPEN:
        return gone(request, taken.batch, refusal) if refusal else redirect(sample_url(taken))
    word = _("accepted") if seen.accepted else _("rejected: %s") % seen.note
    page = VisualPage(taken, _rows(request, [criterion]), None, word, request.POST.get("reason", ""))
    return draw(request, "make/visual.html", page, batch=taken.batch, refusal=refusal)


@acting(again=_correct, template=REFUSED_PAGE)
def correct(request: HttpRequest, number: str, sample: int, what: str, pk: int) -> HttpResponse:
    """A correction is a new row that points at the old one, with a reason. The old one stays."""
    if request.method != "POST":
        return _correct(request, number, sample, what, pk)
    taken = sample_for(number, sample)
    if what == "reading":
        row = get_object_or_404(Reading, pk=pk, sample=taken)
        return record_typed_length(request, taken, row.characteristic, row.piece, row)
    if what == "pull":
        pulled = get_object_or_404(PullTest, pk=pk, sample=taken)
        return record_typed_force(request, taken, pulled.piece, pulled)
    seen = get_object_or_404(VisualFinding, pk=pk, sample=taken)
    answer = request.POST.get(seen.criterion, "")
    if answer not in ("accept", "reject"):
        raise Refused([misfit("sample.incomplete", missing=_("an answer"))])

    def do(by: Person, at: datetime) -> int:
        return record_visual(
            sample=taken,
            criterion=seen.criterion,
            accepted=answer == "accept",
            note=request.POST.get(f"note-{seen.criterion}", "") if answer == "reject" else "",
            by=by,
            at=at,
            corrects=seen,
            reason=request.POST.get("reason", ""),
        ).pk

    perform(request, "correct visual", do)
    return redirect(sample_url(taken))
