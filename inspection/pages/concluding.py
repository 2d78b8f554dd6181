"""The end of a sample: everything it says on one screen, the verdict, the signatures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.debug import sensitive_post_parameters

from inspection.acts.samples import (
    APPROVED_MEANING,
    MEASURED_MEANING,
    TURNED_DOWN_MEANING,
    conclude_sample,
    countersign_first_piece,
    turn_down_first_piece,
)
from inspection.contents import sample_content, sample_outcome
from inspection.models import OutcomeText, Sample, SampleKind, SampleState
from inspection.pages.floor import REFUSED_PAGE, draw, gone, named, own_signature, perform, proposed_identifier, signature_of_another
from inspection.pages.samples import LastAnswer, last_answer, next_url, sample_for
from inspection.queries import step_url
from inspection.verdict import Outcome
from shop.canonical import content_sha256
from shop.criteria import title_of
from shop.pages.acting import Refusal, acting, person_of
from shop.permissions import Deed, may


@dataclass(frozen=True, slots=True)
class Row:
    """One value of the sample as it will be signed."""

    name: str
    piece: str
    value: str
    limits: str
    outcome: str
    word: str
    note: str
    correct_url: str


@dataclass(frozen=True, slots=True)
class SamplePage:
    """What is signed. sha256: of exactly this content; a signature over anything else is refused."""

    sample: Sample
    kind: str
    rows: tuple[Row, ...]
    accepted: tuple[Row, ...]
    accepted_word: str
    may_correct: bool
    outcome: str
    word: str
    note: str
    sha256: str
    needs_signature: bool
    conforms: bool
    meaning: str
    last: LastAnswer | None
    identifier: str = ""
    name: str = ""
    reason: str = ""


def _rows(sample: Sample, content: dict[str, Any]) -> tuple[list[Row], list[Row]]:
    """The rows of the content, each with the way to its correction; the accepted criteria apart, which open from one line."""
    number = sample.batch.number

    def correction(what: str, pk: int) -> str:
        return reverse("make:correct", args=[number, sample.number, what, pk]) if sample.state == SampleState.OPEN else ""

    readings = {(r.characteristic, r.piece): r.pk for r in sample.readings.standing()}
    pulls = {p.piece: p.pk for p in sample.pull_tests.standing()}
    seen = {v.criterion: v.pk for v in sample.visual_findings.standing()}
    words = {choice.value: str(choice.label) for choice in OutcomeText}
    rows = []
    for r in sorted(content["readings"], key=lambda r: readings[r["characteristic"], r["piece"]]):
        stated = r["limits_mm"] or {"low": "", "high": ""}
        limits = f"{stated['low']} – {stated['high']} mm"
        key = correction("reading", readings[r["characteristic"], r["piece"]])
        value = f"{r['value']} {r['unit']}"
        rows.append(Row(r["characteristic"], str(r["piece"]), value, limits, r["outcome"], words[r["outcome"]], "", key))
    for p in content["pull_tests"]:
        least = _("at least %s N") % p["minimum_n"]
        value = f"{p['value']} {p['unit']}"
        key = correction("pull", pulls[p["piece"]])
        rows.append(Row(_("pull force"), str(p["piece"]), value, least, p["outcome"], words[p["outcome"]], p["mode"], key))
    accepted: list[Row] = []
    for v in content["visual"]:
        outcome, word = (Outcome.CONFORMS, _("accepted")) if v["accepted"] else (Outcome.DOES_NOT_CONFORM, _("rejected"))
        key = correction("visual", seen[v["criterion"]])
        (accepted if v["accepted"] else rows).append(Row(title_of(v["criterion"]), "", "", "", outcome, word, v["note"], key))
    return rows, accepted


def _sample_page(sample: Sample, *, meaning: str, may_run: bool = False, last: LastAnswer | None = None, **typed: str) -> SamplePage:
    content = sample_content(sample)
    rows, accepted = _rows(sample, content)
    # What does not conform stands on top: nobody has to look for it.
    rows.sort(key=lambda row: row.outcome == Outcome.CONFORMS)
    outcome = sample_outcome(sample)
    conforms = outcome is Outcome.CONFORMS
    return SamplePage(
        sample=sample,
        kind=sample.get_kind_display(),
        rows=tuple(rows),
        accepted=tuple(accepted),
        accepted_word=ngettext("%d visual criterion accepted", "%d visual criteria accepted", len(accepted)) % len(accepted),
        may_correct=sample.state == SampleState.OPEN and may_run,
        outcome=outcome.value,
        word=_("The sample conforms") if conforms else _("The sample does not conform"),
        note=_("Every single value is in its limits.") if conforms else _("The run stops, and quality decides."),
        sha256=content_sha256(content),
        needs_signature=sample.kind != SampleKind.IN_PROCESS,
        conforms=conforms,
        meaning=meaning,
        last=last,
        **typed,
    )


def _overview(request: HttpRequest, number: str, sample: int, *, refusal: Refusal | None = None) -> HttpResponse:
    taken = sample_for(number, sample)
    if taken.state != SampleState.OPEN:
        return gone(request, taken.batch, refusal) if refusal else redirect(step_url(taken.batch))
    following = next_url(taken)
    if refusal is None and following != reverse("make:overview", args=[number, sample]):
        return redirect(following)
    last = last_answer(taken, request.GET.get("after", ""))
    page = _sample_page(taken, meaning=MEASURED_MEANING, may_run=may(person_of(request), Deed.RUN_BATCH), last=last)
    return draw(request, "make/overview.html", page, batch=taken.batch, refusal=refusal)


@sensitive_post_parameters("secret")
@acting(again=_overview, template=REFUSED_PAGE)
def overview(request: HttpRequest, number: str, sample: int) -> HttpResponse:
    """The sample is measured: sign what the screen shows. In-process samples need no signature."""
    if request.method != "POST":
        return _overview(request, number, sample)
    taken = sample_for(number, sample)
    signing = own_signature(request, MEASURED_MEANING) if taken.kind != SampleKind.IN_PROCESS else None
    seen = request.POST.get("seen_sha256", "")
    perform(
        request,
        "conclude sample",
        lambda by, at: conclude_sample(sample=taken, by=by, at=at, signing=signing, seen_sha256=seen).pk,
    )
    return redirect("make:batch", number)


def _inspector(request: HttpRequest, number: str, sample: int, *, refusal: Refusal | None = None) -> HttpResponse:
    return _for_inspector(request, number, sample, "make/inspector.html", APPROVED_MEANING, refusal)


def _turn_down(request: HttpRequest, number: str, sample: int, *, refusal: Refusal | None = None) -> HttpResponse:
    return _for_inspector(request, number, sample, "make/turn_down.html", TURNED_DOWN_MEANING, refusal)


def _for_inspector(request: HttpRequest, number: str, sample: int, template: str, meaning: str, refusal: Refusal | None) -> HttpResponse:
    taken = sample_for(number, sample)
    if taken.state != SampleState.WAITS_FOR_INSPECTOR:
        return gone(request, taken.batch, refusal) if refusal else redirect(step_url(taken.batch))
    identifier = proposed_identifier(request, Deed.COUNTERSIGN, but_not=taken.taken_by_id)
    page = _sample_page(taken, meaning=meaning, identifier=identifier, name=named(identifier), reason=request.POST.get("reason", ""))
    return draw(request, template, page, batch=taken.batch, refusal=refusal)


@sensitive_post_parameters("secret")
@acting(again=_inspector, template=REFUSED_PAGE)
def inspector(request: HttpRequest, number: str, sample: int) -> HttpResponse:
    """An inspector comes to the operator's tablet, looks at the same screen and approves with badge and PIN."""
    if request.method != "POST":
        return _inspector(request, number, sample)
    taken = sample_for(number, sample)
    signing = signature_of_another(request, APPROVED_MEANING)
    seen = request.POST.get("seen_sha256", "")
    perform(
        request,
        "countersign",
        lambda by, at: countersign_first_piece(sample=taken, by=by, at=at, signing=signing, seen_sha256=seen).pk,
        by=signing.person,
    )
    return redirect("make:batch", number)


@sensitive_post_parameters("secret")
@acting(again=_turn_down, template=REFUSED_PAGE)
def turn_down(request: HttpRequest, number: str, sample: int) -> HttpResponse:
    """The inspector sees something the values do not say: the first piece is turned down with a reason, and the batch goes on hold."""
    if request.method != "POST":
        return _turn_down(request, number, sample)
    taken = sample_for(number, sample)
    signing = signature_of_another(request, TURNED_DOWN_MEANING)
    perform(
        request,
        "turn down",
        lambda by, at: turn_down_first_piece(sample=taken, reason=request.POST.get("reason", ""), by=by, at=at, signing=signing).pk,
        by=signing.person,
    )
    return redirect("make:batch", number)
