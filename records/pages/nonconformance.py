"""Nonconformances at the desk: the list, opening one, its record, and a form for each step."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django import forms
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inspection.acts.nonconformances import (
    CLOSED_MEANING,
    VERIFIED_MEANING,
    Link,
    OpenInput,
    close_nonconformance,
    end_action,
    link_to_nonconformance,
    may_end_action,
    open_nonconformance,
    reopen_nonconformance,
    standing_measure,
    state_action,
    state_cause,
    state_measure,
    verify_effect,
)
from inspection.forms.nonconformance import (
    ActionForm,
    CauseForm,
    CloseForm,
    CorrectionOnlyForm,
    EndActionForm,
    LinkForm,
    MeasureForm,
    NonconformanceForm,
    ReopenForm,
    VerifyForm,
)
from inspection.models import Batch, CorrectiveAction, FoundAt, Hold, LinkKind, LotInspection, Nonconformance, Origin
from inspection.nonconformance_from import from_batch, from_held_pieces, from_hold, from_inspection
from inspection.occurrences import SAME_BY, same_before
from records.acts.reports import issue_nonconformance_report
from records.gather.nonconformance import load_nonconformance, measure_words, nonconformance_record
from records.models import Containment
from records.nonconformance_links import link_to
from records.nonconformance_pages import SameRow, crumbs, record_page, record_url, records_page, same_rows
from records.pages.sealing import sealing
from shop.beside import beside
from shop.clock import now
from shop.crib import Press
from shop.finding import Refused, refuse_if
from shop.materials import Terminal, TerminalLot, Wire, WireLot
from shop.pages.acting import Refusal, acting, person_of, require
from shop.pages.catalogue import Crumb
from shop.people import Person
from shop.permissions import Deed, may
from shop.sign_on import sign
from shop.tools import Tool
from shop.validation import findings_from

PLACE = "prove"


@require_GET
def records(request: HttpRequest) -> HttpResponse:
    page = records_page(request.GET.dict(), person_of(request), now())
    return render(request, "prove/nonconformances.html", {"place": PLACE, "page": page, "places": FoundAt.choices})


def _record(number: str) -> Nonconformance:
    try:
        return load_nonconformance(number)
    except Nonconformance.DoesNotExist as error:
        raise Http404 from error


@require_GET
def record(request: HttpRequest, number: str) -> HttpResponse:
    page = record_page(_record(number), person_of(request), now())
    sections = beside("nonconformance", page.record, person_of(request))
    return render(request, "prove/nonconformance.html", {"place": PLACE, "page": page, "sections": sections})


@require_POST
@acting
@sealing
def issue(request: HttpRequest, number: str) -> HttpResponse:
    """The report as a sealed document."""
    document = issue_nonconformance_report(record=_record(number), by=person_of(request), at=now())
    return redirect("prove:document", number=document.number, issue=document.issue)


# --- Opening -----------------------------------------------------------------------------------------------------------------------

SOURCES = ("hold", "held", "inspection", "case", "about")
_NAMED: tuple[tuple[str, Any, str], ...] = (
    ("tool", Tool, "asset_number"),
    ("press", Press, "asset_number"),
    ("terminal", Terminal, "part_number"),
    ("wire", Wire, "part_number"),
    ("terminal_lot", TerminalLot, "lot_number"),
    ("wire_lot", WireLot, "lot_number"),
)
Begun = tuple[OpenInput, tuple[Link, ...]]


def _begun(asked: Mapping[str, str], person: Person) -> Begun:
    """What the form begins with: something on record that the address names, or things by their numbers."""
    batches = Batch.objects.select_related(
        "tool", "termination__sheet", "termination__terminal", "termination__tool", "termination__specification"
    )
    if hold := _key(asked, "hold"):
        rows = Hold.objects.select_related("sample")
        one = get_object_or_404(rows, pk=hold)
        one.batch = batches.get(pk=one.batch_id)
        return from_hold(one)
    if held := asked.get("held"):
        return from_held_pieces(get_object_or_404(batches, number=held))
    if inspection := _key(asked, "inspection"):
        lots = LotInspection.objects.select_related("scheme", "terminal_lot__terminal", "wire_lot__wire", "batch")
        return from_inspection(get_object_or_404(lots, pk=inspection, accepted=False))
    if case := asked.get("case"):
        return from_case(get_object_or_404(Containment, number=case), person)
    if about := asked.get("about"):
        stated = from_batch(get_object_or_404(batches, number=about), kind=asked.get("kind", ""))
        return stated, ()
    named: dict[str, Any] = {}
    for name, model, column in _NAMED:
        if number := asked.get(name, "").replace("\0", ""):
            named[name] = model.objects.filter(**{column: number}).first()
    if may(person, Deed.SEE_FINDINGS_BY_PERSON) and (username := asked.get("person", "").replace("\0", "")):
        named["person"] = Person.objects.filter(username=username).first()
    return OpenInput(what="", requirement="", defect_kind=asked.get("kind", "")[:80], **named), ()


def _key(asked: Mapping[str, str], name: str) -> int | None:
    text = asked.get(name, "")
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 18):
        raise Http404
    return int(text)


def from_case(case: Containment, person: Person) -> Begun:
    """A containment case: its question is what it is about."""
    models: dict[str, Any] = {"tool": Tool, "wire lot": WireLot, "terminal lot": TerminalLot, "person": Person}
    field = case.question.replace(" ", "_")
    thing: Any = models[case.question].objects.filter(pk=case.subject_id).first() if case.question in models else None
    # Who was not qualified is for quality to see; others begin without the name.
    named = {field: thing} if thing is not None and (field != "person" or may(person, Deed.SEE_FINDINGS_BY_PERSON)) else {}
    stated = OpenInput(what=case.reason, requirement="", defect_kind="", origin=Origin.CONTAINMENT.value, **named)
    return stated, (Link(LinkKind.CASE, case.pk, case.number),)


@dataclass(frozen=True, slots=True)
class NewPage:
    """begins_with: what the address names, sent along; same: of the same before; may_add: this finding can join one of them."""

    crumbs: list[Crumb]
    form: NonconformanceForm
    begins_with: list[tuple[str, str]]
    points_at: list[str]
    same: list[SameRow]
    may_add: bool


def _typed(form: NonconformanceForm, stated: OpenInput) -> OpenInput:
    """What is in the form as far as it is understood; the stated beginning before anything was typed."""
    if not form.is_bound:
        return stated
    form.is_valid()
    known = {name: form.cleaned_data[name] for name in (*SAME_BY, "defect_kind") if name in form.cleaned_data}
    return replace(stated, **known)


def _new(request: HttpRequest, *, refusal: Refusal | None = None) -> HttpResponse:
    person = person_of(request) if refusal else require(request, Deed.OPEN_NONCONFORMANCE)
    data = request.POST if request.method == "POST" else request.GET
    stated, links = _begun(data.dict(), person)
    sees = may(person, Deed.SEE_FINDINGS_BY_PERSON)
    form = NonconformanceForm(request.POST if refusal else None, initial=NonconformanceForm.initial_of(stated), with_person=sees)
    typed = _typed(form, stated)
    if refusal:
        refusal.tell(form)
    page = NewPage(
        crumbs=crumbs(Crumb(_("New"))),
        form=form,
        begins_with=[(name, data[name]) for name in SOURCES if data.get(name)],
        points_at=[f"{LinkKind(link.kind).label}: {link.name}" for link in links],
        same=same_rows(same_before(typed.defect_kind, now(), **{name: getattr(typed, name) for name in SAME_BY}), person),
        may_add=bool(links or stated.batch),
    )
    return render(request, "prove/nonconformance_new.html", {"place": PLACE, "page": page, "refusal": refusal})


@require_http_methods(["GET", "POST"])
@acting(again=_new)
def new(request: HttpRequest) -> HttpResponse:
    if request.method == "GET":
        return _new(request)
    by = require(request, Deed.OPEN_NONCONFORMANCE)
    _stated, links = _begun(request.POST.dict(), by)
    form = NonconformanceForm(request.POST, with_person=may(by, Deed.SEE_FINDINGS_BY_PERSON))
    _valid(form)
    opened = open_nonconformance(stated=form.stated(), links=links, by=by, at=now())
    messages.success(request, _("{number} is open.").format(number=opened.number))
    return redirect("prove:nonconformance", number=opened.number)


@require_POST
@acting
def add_finding(request: HttpRequest, number: str) -> HttpResponse:
    """The finding that a new one would begin with belongs to one that is there."""
    by = require(request, Deed.OPEN_NONCONFORMANCE)
    stated, links = _begun(request.POST.dict(), by)
    if not links and stated.batch is not None:
        links = (Link(LinkKind.BATCH, stated.batch.pk, stated.batch.number),)
    record = link_to_nonconformance(record=_record(number), links=links, by=by, at=now())
    messages.success(request, _("The finding is added to {number}.").format(number=record.number))
    return redirect("prove:nonconformance", number=number)


def _valid(form: forms.Form) -> None:
    if not form.is_valid():
        raise Refused(findings_from(ValidationError(form.errors.as_data())))


# --- Steps -----------------------------------------------------------------------------------------------------------------------

Make = Callable[[Nonconformance, Any], forms.Form]
Do = Callable[[Nonconformance, Any, HttpRequest, Person, datetime], str]


@dataclass(frozen=True, slots=True)
class Step:
    """One form. make: the form, from the record and what was posted; do: the act, answering what it says afterwards."""

    title: Any
    about: Any
    button: Any
    make: Make
    do: Do
    meaning: str = ""
    deed: Deed | None = None


def _signing(request: HttpRequest, by: Person, meaning: str, at: datetime) -> Any:
    return sign(identifier=by.username, secret=request.POST.get("secret", ""), meaning=meaning, at=at)


def _cause(record: Nonconformance, form: Any, request: HttpRequest, by: Person, at: datetime) -> str:
    state_cause(record=record, stated=form.stated(), by=by, at=at)
    return _("The cause is on record.")


def _action(record: Nonconformance, form: Any, request: HttpRequest, by: Person, at: datetime) -> str:
    row = state_action(record=record, stated=form.stated(), by=by, at=at)
    return _("Action {n}: {person} sees to it until {day}.").format(n=row.number, person=row.responsible.name, day=row.due_on.isoformat())


def _measure(record: Nonconformance, form: Any, request: HttpRequest, by: Person, at: datetime) -> str:
    return measure_words(record, state_measure(record=record, stated=form.stated(), by=by, at=at))


def _verify(record: Nonconformance, form: Any, request: HttpRequest, by: Person, at: datetime) -> str:
    signing = _signing(request, by, VERIFIED_MEANING, at)
    row = verify_effect(record=record, stated=form.stated(), by=by, at=at, signing=signing)
    return _("Signed: it worked.") if row.worked else _("Signed: it did not work. State a further action and a new proof.")


def _close(record: Nonconformance, form: Any, request: HttpRequest, by: Person, at: datetime) -> str:
    given = {name: form.cleaned_data[name] for name in ("conclusion", "without_action_because") if name in form.cleaned_data}
    close_nonconformance(record=record, by=by, at=at, signing=_signing(request, by, CLOSED_MEANING, at), **given)
    return _("{number} is closed.").format(number=record.number)


def _reopen(record: Nonconformance, form: Any, request: HttpRequest, by: Person, at: datetime) -> str:
    reopen_nonconformance(record=record, reason=form.cleaned_data["reason"], by=by, at=at)
    return _("{number} is open again: actions and proof begin anew.").format(number=record.number)


def _add(record: Nonconformance, form: Any, request: HttpRequest, by: Person, at: datetime) -> str:
    link = link_to(form.cleaned_data["kind"], form.cleaned_data["number"])
    link_to_nonconformance(record=record, links=[link], by=by, at=at)
    return _("{name} is added.").format(name=link.name)


def _verify_form(record: Nonconformance, data: Any) -> forms.Form:
    measure = standing_measure(record)
    return VerifyForm(data, kind=measure.kind if measure else "")  # without a measure the act refuses


STEPS: dict[str, Step] = {
    "cause": Step(
        gettext_lazy("Cause"),
        gettext_lazy("Which of the six parts failed, why it occurred, and why nobody noticed. A later statement stands in its place."),
        gettext_lazy("State the cause"),
        lambda record, data: CauseForm(data),
        _cause,
        deed=Deed.WORK_ON_NONCONFORMANCE,
    ),
    "action": Step(
        gettext_lazy("Action"),
        gettext_lazy("What is done, who sees to it, and until when."),
        gettext_lazy("State the action"),
        lambda record, data: ActionForm(data),
        _action,
        deed=Deed.WORK_ON_NONCONFORMANCE,
    ),
    "measure": Step(
        gettext_lazy("What will prove that it worked"),
        gettext_lazy("Decided before anybody looks. Counting begins when every action has ended, from batches opened after that."),
        gettext_lazy("State the proof"),
        lambda record, data: MeasureForm(data, record=record),
        _measure,
        deed=Deed.WORK_ON_NONCONFORMANCE,
    ),
    "verify": Step(
        gettext_lazy("Verify that it worked"),
        gettext_lazy("By somebody who did none of the actions. What the samples say decides, where the proof counts them."),
        gettext_lazy("Sign what came out"),
        _verify_form,
        _verify,
        VERIFIED_MEANING,
        Deed.VERIFY_EFFECT,
    ),
    "close": Step(
        gettext_lazy("Close"),
        gettext_lazy("With cause, action and proof on record."),
        gettext_lazy("Sign and close"),
        lambda record, data: CloseForm(data),
        _close,
        CLOSED_MEANING,
        Deed.CLOSE_NONCONFORMANCE,
    ),
    "correction-only": Step(
        gettext_lazy("Correction only"),
        gettext_lazy("For what needs no corrective action. It is counted all the same: when it comes back, it shows among what recurs."),
        gettext_lazy("Sign and close"),
        lambda record, data: CorrectionOnlyForm(data),
        _close,
        CLOSED_MEANING,
        Deed.CLOSE_NONCONFORMANCE,
    ),
    "reopen": Step(
        gettext_lazy("Reopen"),
        gettext_lazy("What was proven before did not hold: actions and proof begin anew, everything so far stays readable."),
        gettext_lazy("Reopen"),
        lambda record, data: ReopenForm(data),
        _reopen,
        deed=Deed.CLOSE_NONCONFORMANCE,
    ),
    "add": Step(
        gettext_lazy("Add what it is about"),
        gettext_lazy("A further batch with the same finding, the containment case, the lots and shipments it reached."),
        gettext_lazy("Add"),
        lambda record, data: LinkForm(data),
        _add,
        deed=Deed.OPEN_NONCONFORMANCE,
    ),
}


def _ending(record: Nonconformance, number: int) -> Step:
    """The form that ends one action."""
    action = get_object_or_404(CorrectiveAction.objects.select_related("responsible"), nonconformance=record, number=number)

    def do(record: Nonconformance, form: Any, request: HttpRequest, by: Person, at: datetime) -> str:
        row = end_action(action=action, by=by, at=at, **form.cleaned_data)
        return _("Action {n} is {result}.").format(n=row.number, result=row.get_result_display())

    return Step(
        _("Action {n}").format(n=number),
        f"{action.what} ({action.responsible.name}, {action.due_on.isoformat()})",
        _("End the action"),
        lambda record, data: EndActionForm(data),
        do,
    )


@dataclass(frozen=True, slots=True)
class StepPage:
    """proof: the measure that is verified, with its numbers, "" elsewhere."""

    record: Nonconformance
    crumbs: list[Crumb]
    title: str
    about: str
    button: str
    form: forms.Form
    meaning: str
    proof: Any
    back_url: str


def _step_of(record: Nonconformance, step: str) -> Step:
    if step in STEPS:
        return STEPS[step]
    word, _dash, number = step.partition("-")
    if word == "action" and number.isascii() and number.isdigit() and len(number) < 6:
        return _ending(record, int(number))
    raise Http404


def _allowed(request: HttpRequest, record: Nonconformance, step: Step, name: str) -> None:
    """A page on which nobody of this role may act says so at once; the act asks again."""
    if step.deed is not None:
        require(request, step.deed)
    else:
        refuse_if(may_end_action(record.actions.get(number=int(name.partition("-")[2])), person_of(request)))


def _step_page(request: HttpRequest, number: str, step: str, *, refusal: Refusal | None = None) -> HttpResponse:
    thing = _record(number)
    one = _step_of(thing, step)
    if refusal is None:
        _allowed(request, thing, one, step)
    form = one.make(thing, request.POST if refusal else None)
    if refusal:
        refusal.tell(form)
    proofs = nonconformance_record(thing, now())["proofs"] if step == "verify" else []
    page = StepPage(
        record=thing,
        crumbs=crumbs(Crumb(thing.number, record_url(thing.number)), Crumb(str(one.title))),
        title=str(one.title),
        about=str(one.about),
        button=str(one.button),
        form=form,
        meaning=one.meaning,
        proof=proofs[-1] if proofs else None,
        back_url=record_url(thing.number),
    )
    return render(request, "prove/nonconformance_step.html", {"place": PLACE, "page": page, "refusal": refusal})


@sensitive_post_parameters("secret")
@require_http_methods(["GET", "POST"])
@acting
def step(request: HttpRequest, number: str, step: str) -> HttpResponse:
    return _do(request, number, step) if request.method == "POST" else _step_page(request, number, step)


@acting(again=_step_page)
def _do(request: HttpRequest, number: str, step: str) -> HttpResponse:
    thing, by, at = _record(number), person_of(request), now()
    one = _step_of(thing, step)
    form = one.make(thing, request.POST)
    _valid(form)
    messages.success(request, one.do(thing, form, request, by, at))
    return redirect("prove:nonconformance", number=number)
