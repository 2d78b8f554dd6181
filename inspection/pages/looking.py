"""Looking at a sample by the visual criteria, and correcting what was recorded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters

from inspection.acts.samples import JUDGED_MEANING, Look, judge_cross_section, record_looks, record_visual
from inspection.drawing.criterion_sketch import sketch
from inspection.models import PullTest, Reading, Sample, SampleState, VisualFinding
from inspection.pages.floor import REFUSED_PAGE, draw, gone, named, perform, signature_of_another
from inspection.pages.photos import photo_in, photo_name
from inspection.pages.samples import LastAnswer, last_answer, sample_for, sample_url
from inspection.pages.values import draw_pull, draw_reading, record_typed_force, record_typed_value
from inspection.photos import keep_photo
from inspection.plan import plan_of
from shop.criteria import VisualCriterion, is_cross_section, title_of
from shop.finding import Refused, misfit
from shop.pages.acting import Refusal, acting
from shop.people import Person


@dataclass(frozen=True, slots=True)
class CriterionRow:
    criterion: VisualCriterion
    answer: str
    note: str
    good: SafeString
    bad: SafeString


def pair_of(code: str) -> tuple[SafeString, SafeString]:
    """The sketches of a criterion, good and bad; both empty where a planner's own words are the criterion."""
    return mark_safe(sketch(code, good=True)), mark_safe(sketch(code, good=False))  # noqa: S308  # our own SVG, without a word from outside


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
    left = [c for c in _looked_at(taken) if c.code not in answered]
    if taken.state != SampleState.OPEN or not left:
        return gone(request, taken.batch, refusal) if refusal else redirect(sample_url(taken))
    page = VisualPage(taken, _rows(request, left), last_answer(taken, request.GET.get("after", "")), "", "")
    return draw(request, "make/visual.html", page, batch=taken.batch, refusal=refusal)


def _looked_at(sample: Sample) -> list[VisualCriterion]:
    """The criteria that the operator answers; a cross-section is asked for on a screen of its own."""
    return [c for c in plan_of(sample).criteria if not is_cross_section(c.code)]


def _rows(request: HttpRequest, criteria: Sequence[VisualCriterion]) -> tuple[CriterionRow, ...]:
    return tuple(CriterionRow(c, request.POST.get(c.code, ""), request.POST.get(f"note-{c.code}", ""), *pair_of(c.code)) for c in criteria)


@acting(again=_visual, template=REFUSED_PAGE)
def visual(request: HttpRequest, number: str, sample: int) -> HttpResponse:
    """Accept or reject, one by one; one touch accepts everything not marked otherwise. Each criterion is a record of its own."""
    if request.method != "POST":
        return _visual(request, number, sample)
    taken = sample_for(number, sample)
    answered = set(taken.visual_findings.standing().values_list("criterion", flat=True))
    rest = "accept" if "all" in request.POST else ""
    answers = [(c.code, request.POST.get(c.code) or rest) for c in _looked_at(taken) if c.code not in answered]
    given = [
        Look(code, answer == "accept", request.POST.get(f"note-{code}", "") if answer == "reject" else "")
        for code, answer in answers
        if answer in ("accept", "reject")
    ]

    photos = {look.criterion: photo_in(request, f"photo-{look.criterion}") for look in given if not look.accepted}

    def do(by: Person, at: datetime) -> int:
        if not given:
            raise Refused([misfit("sample.incomplete", missing=_("an answer"))])
        made = record_looks(sample=taken, looks=given, by=by, at=at)
        for code, picture in photos.items():
            if picture is not None:
                title = f"Sample {taken.number}, rejected: {title_of(code)}"
                keep_photo(batch=taken.batch, title=title, name=photo_name(taken, code), picture=picture, by=by, at=at)
        return len(made)

    perform(request, "visual", do)
    return redirect(sample_url(taken))


# --- Cross-sections ---------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class CrossSectionPage:
    """One cross-section, answered by whoever is qualified for it, with badge and PIN at the operator's tablet."""

    sample: Sample
    criterion: VisualCriterion
    good: SafeString
    bad: SafeString
    answer: str
    note: str
    corrected: str
    reason: str
    last: LastAnswer | None
    identifier: str
    name: str
    meaning: str


def _cross_section(
    request: HttpRequest, number: str, sample: int, *, refusal: Refusal | None = None, corrects: VisualFinding | None = None
) -> HttpResponse:
    taken = sample_for(number, sample)
    answered = set(taken.visual_findings.standing().values_list("criterion", flat=True))
    left = [c for c in plan_of(taken).criteria if is_cross_section(c.code) and (c.code not in answered or _is_of(corrects, c))]
    asked = next((c for c in left if corrects is None or _is_of(corrects, c)), None)
    if taken.state != SampleState.OPEN or asked is None:
        return gone(request, taken.batch, refusal) if refusal else redirect(sample_url(taken))
    identifier = request.POST.get("identifier", "")
    good, bad = pair_of(asked.code)
    page = CrossSectionPage(
        sample=taken,
        criterion=asked,
        good=good,
        bad=bad,
        answer=request.POST.get("answer", ""),
        note=request.POST.get("note", ""),
        corrected=_said(corrects) if corrects else "",
        reason=request.POST.get("reason", ""),
        last=last_answer(taken, request.GET.get("after", "")),
        identifier=identifier,
        name=named(identifier),
        meaning=JUDGED_MEANING,
    )
    return draw(request, "make/cross_section.html", page, batch=taken.batch, refusal=refusal)


def _is_of(finding: VisualFinding | None, criterion: VisualCriterion) -> bool:
    return finding is not None and finding.criterion == criterion.code


def _said(finding: VisualFinding) -> str:
    return _("accepted") if finding.accepted else _("rejected: %s") % finding.note


@sensitive_post_parameters("secret")
@acting(again=_cross_section, template=REFUSED_PAGE)
def cross_section(request: HttpRequest, number: str, sample: int) -> HttpResponse:
    """The piece was cut, polished and etched: a person qualified for it says what the section shows."""
    if request.method != "POST":
        return _cross_section(request, number, sample)
    return _record_cross_section(request, sample_for(number, sample), None)


def _record_cross_section(request: HttpRequest, taken: Sample, corrects: VisualFinding | None) -> HttpResponse:
    answer, code = request.POST.get("answer", ""), corrects.criterion if corrects else request.POST.get("criterion", "")
    if answer not in ("accept", "reject") or not is_cross_section(code):
        raise Refused([misfit("sample.incomplete", missing=_("an answer"))])
    signing = signature_of_another(request, JUDGED_MEANING)

    def do(by: Person, at: datetime) -> int:
        return judge_cross_section(
            sample=taken,
            criterion=code,
            signing=signing,
            accepted=answer == "accept",
            note=request.POST.get("note", "") if answer == "reject" else "",
            by=by,
            at=at,
            corrects=corrects,
            reason=request.POST.get("reason", ""),
        ).pk

    perform(request, "cross-section", do, by=signing.person)
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
    if is_cross_section(seen.criterion):
        return _cross_section(request, number, sample, refusal=refusal, corrects=seen)
    criterion = next(c for c in plan_of(taken).criteria if c.code == seen.criterion)
    if taken.state != SampleState.OPEN:
        return gone(request, taken.batch, refusal) if refusal else redirect(sample_url(taken))
    page = VisualPage(taken, _rows(request, [criterion]), None, _said(seen), request.POST.get("reason", ""))
    return draw(request, "make/visual.html", page, batch=taken.batch, refusal=refusal)


@sensitive_post_parameters("secret")
@acting(again=_correct, template=REFUSED_PAGE)
def correct(request: HttpRequest, number: str, sample: int, what: str, pk: int) -> HttpResponse:
    """A correction is a new row that points at the old one, with a reason. The old one stays."""
    if request.method != "POST":
        return _correct(request, number, sample, what, pk)
    taken = sample_for(number, sample)
    if what == "reading":
        row = get_object_or_404(Reading, pk=pk, sample=taken)
        return record_typed_value(request, taken, row.characteristic, row.piece, row)
    if what == "pull":
        pulled = get_object_or_404(PullTest, pk=pk, sample=taken)
        return record_typed_force(request, taken, pulled.piece, pulled)
    seen = get_object_or_404(VisualFinding, pk=pk, sample=taken)
    if is_cross_section(seen.criterion):
        return _record_cross_section(request, taken, seen)
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
