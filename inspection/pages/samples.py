"""A sample: beginning it, and what comes next in it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from inspection.acts.control import open_signals
from inspection.acts.samples import kinds_possible, start_sample
from inspection.models import Batch, PullTest, Reading, Sample, SampleKind, SampleState
from inspection.pages.floor import REFUSED_PAGE, batch_for, count_in, draw, gone, perform
from inspection.plan import SamplePlan, plan_of
from inspection.queries import next_sample_due, step_url
from shop.characteristics import Characteristic
from shop.criteria import is_cross_section
from shop.pages.acting import Refusal, acting


def sample_for(number: str, sample: int) -> Sample:
    found = Sample.objects.filter(batch__number=number, number=sample).select_related("taken_by").first()
    if found is None:
        raise Http404
    found.batch = batch_for(number)
    return found


def sample_url(sample: Sample, *, after: str = "") -> str:
    address = reverse("make:sample", args=[sample.batch.number, sample.number])
    return f"{address}?after={after}" if after else address


# --- Starting a sample -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class StartSamplePage:
    batch: Batch
    kind: str
    kind_word: str
    count: str
    last_count: int
    contents: tuple[str, ...]
    may_change: bool


def proposed_count(batch: Batch, kind: SampleKind) -> int:
    """The count a person will most likely read off the counter."""
    t = batch.termination
    if kind in (SampleKind.FIRST_PIECE, SampleKind.AFTER_CHANGE):
        return batch.last_count + max(t.first_piece_heights, t.first_piece_pulls)
    return max(next_sample_due(batch), batch.last_count) if kind == SampleKind.IN_PROCESS else max(batch.quantity, batch.last_count)


def contents_of(plan: SamplePlan) -> list[str]:
    """What a sample asks for, in words."""
    listed = [f"{Characteristic(planned.characteristic).label} × {planned.pieces}" for planned in plan.readings]
    if plan.pulls:
        listed.append(_("pull test × %d") % plan.pulls)
    cut = sum(is_cross_section(c.code) for c in plan.criteria)
    if cut:
        listed.append(_("cross-section × %d") % cut)
    return [*listed, _("%d visual criteria") % (len(plan.criteria) - cut)]


def _start_sample(request: HttpRequest, number: str, kind: str = "", *, refusal: Refusal | None = None) -> HttpResponse:
    batch = batch_for(number)
    possible = kinds_possible(batch)
    if refusal is None and open_signals(batch):
        return redirect("make:reaction", number)  # the chart's question comes before the next sample
    wanted = SampleKind(kind.replace("-", " ")) if kind else next(iter(possible), None)
    busy = batch.samples.filter(state__in=[SampleState.OPEN, SampleState.WAITS_FOR_INSPECTOR]).exists()
    if wanted is None or wanted not in possible or busy:
        return gone(request, batch, refusal) if refusal else redirect(step_url(batch))
    sample = Sample(batch=batch, kind=wanted)
    page = StartSamplePage(
        batch=batch,
        kind=wanted.value,
        kind_word=str(wanted.label),
        count=request.POST.get("at_count", str(proposed_count(batch, wanted))),
        last_count=batch.last_count,
        contents=tuple(contents_of(plan_of(sample))),
        may_change=wanted in (SampleKind.FIRST_PIECE, SampleKind.AFTER_CHANGE),
    )
    return draw(request, "make/start_sample.html", page, batch=batch, refusal=refusal)


@acting(again=_start_sample, template=REFUSED_PAGE)
def begin_sample(request: HttpRequest, number: str, kind: str = "") -> HttpResponse:
    """The count of pieces made, then the first value. Without a kind: the first piece of this set-up."""
    if kind and kind.replace("-", " ") not in SampleKind.values:
        raise Http404
    if request.method != "POST":
        return _start_sample(request, number, kind)
    batch = batch_for(number)
    at_count = count_in(request, "at_count")
    wanted = kind.replace("-", " ") or next(iter(kinds_possible(batch)), "")
    started = perform(
        request, "start sample", lambda by, at: start_sample(batch=batch, kind=wanted, at_count=at_count, by=by, at=at).number
    )
    return redirect("make:sample", number, int(started))


# --- What comes next -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class LastAnswer:
    """The value judged a moment ago: word and shape, and the way to correct it."""

    outcome: str
    word: str
    value: str
    name: str
    correct_url: str


def last_answer(sample: Sample, after: str) -> LastAnswer | None:
    """`after` names the row: "reading-12" or "pull-3". Anything else is no answer."""
    found = re.fullmatch(r"(reading|pull)-(\d{1,12})", after)
    if not found:
        return None
    row: Reading | PullTest | None = (sample.readings if found[1] == "reading" else sample.pull_tests).filter(pk=int(found[2])).first()
    if row is None:
        return None
    name = row.get_characteristic_display() if isinstance(row, Reading) else _("pull force")
    return LastAnswer(
        outcome=row.outcome,
        word=row.get_outcome_display(),
        value=f"{row.text} {row.unit}",
        name=_("%(name)s, piece %(piece)d") % {"name": name, "piece": row.piece},
        correct_url=reverse("make:correct", args=[sample.batch.number, sample.number, found[1], row.pk]),
    )


def next_url(sample: Sample, after: str = "") -> str:
    """The next value the plan asks for, in the order of measuring: readings, pulls, looking, cross-sections and what is read off
    them; at the end the overview."""
    plan, number = plan_of(sample), sample.batch.number
    there = set(sample.readings.standing().values_list("characteristic", "piece"))
    suffix = f"?after={after}" if after else ""
    open_readings = [
        (planned.characteristic, piece)
        for planned in plan.readings
        for piece in range(1, planned.pieces + 1)
        if (planned.characteristic, piece) not in there
    ]
    for characteristic, piece in open_readings:
        if characteristic != Characteristic.COMPACTION:  # read off a section, which is cut when everything else is done
            return _reading_url(sample, characteristic, piece) + suffix
    pulled = set(sample.pull_tests.standing().values_list("piece", flat=True))
    for piece in range(1, plan.pulls + 1):
        if piece not in pulled:
            return reverse("make:pull", args=[number, sample.number, piece]) + suffix
    answered = set(sample.visual_findings.standing().values_list("criterion", flat=True))
    left = [c.code for c in plan.criteria if c.code not in answered]
    if any(not is_cross_section(code) for code in left):
        return reverse("make:visual", args=[number, sample.number]) + suffix
    if left:
        return reverse("make:cross-section", args=[number, sample.number]) + suffix
    if open_readings:
        return _reading_url(sample, *open_readings[0]) + suffix
    return reverse("make:overview", args=[number, sample.number]) + suffix


def _reading_url(sample: Sample, characteristic: str, piece: int) -> str:
    return reverse("make:reading", args=[sample.batch.number, sample.number, characteristic.replace(" ", "-"), piece])


def sample_step(request: HttpRequest, number: str, sample: int) -> HttpResponse:
    """Leads to the next question of the sample."""
    taken = sample_for(number, sample)
    if taken.state != SampleState.OPEN:
        return redirect(step_url(taken.batch))
    return redirect(next_url(taken, request.GET.get("after", "")))
