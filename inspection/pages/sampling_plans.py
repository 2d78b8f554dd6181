"""The planning page of sampling: questions by GET, answers with their sources. Nothing is written."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET

from inspection.analysis import Analysis, Column, Fact, Section, Table
from inspection.forms.sampling import BoundQuestion, RisksQuestion, RunQuestion, TableQuestion, ZeroQuestion
from inspection.pages.sampling import sampling_crumbs
from inspection.pages.studies import DrawnSection, drawn_sections
from inspection.pull_bound_sections import bound_sections, factor_section
from inspection.sampling.design import (
    NoPlan,
    RiskPlan,
    demonstration,
    plan_for_lot,
    plan_for_risks,
    sequential_plan,
    success_run,
    zero_acceptance,
    zero_acceptance_like,
    zero_acceptance_lot,
)
from inspection.sampling.single import NotInTable, Severity, plan_for
from inspection.sampling_sections import plan_sections, sequential_section, share
from inspection.spc import NotFinite, TooFew
from inspection.studies.confidence import NotASetting
from shop.pages.catalogue import Crumb
from shop.quantity import NotAQuantity, parse_number

PLACE = "studies"
LARGEST_LOT = 10_000_000
MOST_VALUES = 10_000
MOST_SAMPLE = 100_000
"""Larger plans are answered by their figures alone; nobody looks at so many."""


def _percent(value: Decimal) -> float:
    return float(value / 100)


def _table(asked: dict[str, Any]) -> list[Section]:
    plan = plan_for(asked["lot_size"], asked["level"], asked["aql"], asked["severity"])
    facts = [
        Fact(
            _("Code letter"),
            plan.code_letter,
            note=_("the table leads to letter {letter}").format(letter=plan.plan_letter) if plan.plan_letter != plan.code_letter else "",
        ),
        Fact(
            _("Look at"),
            str(plan.n),
            _("pieces"),
            note=_("the whole lot: the sample of {n} would be as large").format(n=plan.table_n) if plan.whole_lot else "",
        ),
        Fact(_("Accept with up to (Ac)"), str(plan.ac)),
        Fact(_("Refuse from (Re)"), str(plan.re)),
    ]
    notes = [_("Source: {source}. Status: {status}.").format(source=plan.source, status=plan.status)]
    if plan.severity is Severity.REDUCED:
        notes.append(
            _(
                "A lot between Ac and Re is accepted, and inspection goes back to normal. "
                "The reduced table is that of MIL-STD-105E, not of ISO 2859-1."
            )
        )
    else:
        notes.append(_("ISO 2859-1:1999 and ANSI Z1.4 have the same plan here (from memory)."))
    if not plan.percent:
        notes.append(_("An AQL above 10 counts nonconformities per 100 units, not nonconforming pieces."))
    answer = Section(_("The plan"), facts=tuple(facts), notes=tuple(notes))
    does = plan_sections(plan.n, plan.most_accepted, lot_size=plan.lot_size, pieces=plan.percent, marks=[(_percent(plan.aql), _("AQL"))])
    if not plan.percent or plan.whole_lot:
        return [answer, *does]
    like = zero_acceptance_like(plan.n, plan.most_accepted)
    none = Section(
        _("None allowed instead"),
        facts=(Fact(_("Look at"), str(like.n), _("pieces"), note=_("and accept with none found")),),
        notes=(
            _(
                "It accepts no more often what the plan above accepts 10 times in 100, and refuses good lots more often. "
                "Computed here, binomial."
            ),
        ),
    )
    return [answer, *does, none]


def _risk_facts(plan: RiskPlan, alpha: float | None, beta: float) -> tuple[Fact, ...]:
    facts = [Fact(_("Look at"), str(plan.n), _("pieces")), Fact(_("Accept with up to (Ac)"), str(plan.c))]
    if alpha is not None:
        facts.append(
            Fact(_("Risk of refusing good quality"), share(plan.alpha), "%", note=_("asked: at most {asked} %").format(asked=share(alpha)))
        )
    facts.append(
        Fact(_("Risk of accepting bad quality"), share(plan.beta), "%", note=_("asked: at most {asked} %").format(asked=share(beta)))
    )
    return tuple(facts)


def _risks(asked: dict[str, Any]) -> list[Section]:
    p1, alpha, p2, beta = (_percent(asked[name]) for name in ("p1", "alpha", "p2", "beta"))
    size = asked["lot_size"]
    if size:
        good, bad = math.floor(asked["p1"] * size / 100), math.ceil(asked["p2"] * size / 100)
        plan = plan_for_lot(size, good, alpha, bad, beta)
        note = _("One lot of {size}: {good} nonconforming pieces count as good, {bad} as bad; hypergeometric, exactly.").format(
            size=size, good=good, bad=bad
        )
    else:
        plan = plan_for_risks(p1, alpha, p2, beta)
        note = _("Lots from a process: binomial, exactly. The smallest sample that keeps both risks.")
    sections = [
        Section(
            _("The plan"),
            facts=_risk_facts(plan, alpha, beta),
            notes=(note, _("Source: NIST/SEMATECH e-Handbook 6.2.3 (the question); computed here.")),
        )
    ]
    if plan.n <= MOST_SAMPLE:
        sections += plan_sections(plan.n, plan.c, lot_size=size or None, marks=[(p1, _("good")), (p2, _("bad"))])
    if alpha + beta < 1:
        sections.append(sequential_section(sequential_plan(p1, alpha, p2, beta)))
    return sections


def _zero(asked: dict[str, Any]) -> list[Section]:
    p2, beta, size = _percent(asked["p2"]), _percent(asked["beta"]), asked["lot_size"]
    if size:
        bad = max(math.ceil(asked["p2"] * size / 100), 1)
        plan = zero_acceptance_lot(size, bad, beta)
        note = _("One lot of {size} with {bad} nonconforming pieces: hypergeometric, exactly.").format(size=size, bad=bad)
    else:
        plan = zero_acceptance(p2, beta)
        note = _("Lots from a process: binomial, exactly.")
    sections = [
        Section(
            _("The plan"),
            facts=_risk_facts(plan, None, beta),
            notes=(note, _("Computed here: the smallest n whose chance of finding none is at most the risk.")),
        )
    ]
    if plan.n <= MOST_SAMPLE:
        sections += plan_sections(plan.n, 0, lot_size=size or None, marks=[(p2, _("to be refused"))])
    return sections


def _run(asked: dict[str, Any]) -> list[Section]:
    r, c, failures = asked["reliability"] / 100, asked["confidence"] / 100, asked["failures"]
    n = success_run(r, c) if failures == 0 else demonstration(float(r), float(c), failures)
    facts = (
        Fact(
            _("Pieces to be tested"),
            str(n),
            note=_("with at most {failures} failures").format(failures=failures) if failures else _("all of which have to pass"),
        ),
    )
    rows = tuple(
        (str(allowed), str(success_run(r, c) if allowed == 0 else demonstration(float(r), float(c), allowed))) for allowed in range(6)
    )
    table = Table(_("If failures are allowed"), (Column(_("Failures")), Column(_("Pieces"))), rows)
    note = _(
        "Without failures n ≥ ln(1 - C)/ln R; with failures the binomial distribution. Computed here. "
        "What is shown holds for pieces like those tested."
    )
    return [Section(_("Success run"), facts=facts, tables=(table,), notes=(note,))]


def _bound(asked: dict[str, Any]) -> list[Section]:
    p, gamma = _percent(asked["share"]), _percent(asked["confidence"])
    words = [word for word in re.split(r"[\s;]+", asked["values"]) if word]
    if len(words) > MOST_VALUES:
        raise NotASetting("values", len(words))
    values = [float(parse_number(word)) for word in words]
    if values:
        return [*bound_sections(values, p=p, gamma=gamma, minimum=asked["minimum"], unit="N"), factor_section(len(values), p, gamma)]
    return [factor_section(asked["n"] or 30, p, gamma)]


@dataclass(frozen=True, slots=True)
class Question:
    slug: str
    name: Any
    about: Any
    form: type[forms.Form]
    answer: Callable[[dict[str, Any]], list[Section]]


QUESTIONS = (
    Question("table", gettext_lazy("By AQL"), gettext_lazy("What do the tables of MIL-STD-105E ask for?"), TableQuestion, _table),
    Question(
        "risks", gettext_lazy("By two risks"), gettext_lazy("What is the smallest plan for the producer's and the consumer's risk?"),
        RisksQuestion, _risks,
    ),
    Question("none-allowed", gettext_lazy("None allowed"), gettext_lazy("How many have to be free of findings?"), ZeroQuestion, _zero),
    Question("success-run", gettext_lazy("Success run"), gettext_lazy("How many pieces show a reliability?"), RunQuestion, _run),
    Question("bound", gettext_lazy("Tolerance bound"), gettext_lazy("What pull force do nearly all crimps hold?"), BoundQuestion, _bound),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Tab:
    name: str
    url: str
    current: bool


@dataclass(frozen=True, slots=True)
class PlansPage:
    tabs: list[Tab]
    about: str
    form: forms.Form
    sections: list[DrawnSection]
    why_not: str
    crumbs: list[Crumb]


@require_GET
def plans(request: HttpRequest, question: str = "table") -> HttpResponse:
    asked = next((one for one in QUESTIONS if one.slug == question), QUESTIONS[0])
    initial = {name: field.initial for name, field in asked.form().fields.items() if field.initial is not None}
    form = asked.form(request.GET if request.GET else initial)
    sections: list[Section] = []
    why_not = ""
    if form.is_valid():
        try:
            sections = _answered(asked, form.cleaned_data)
        except (NotASetting, NotInTable, NoPlan, TooFew, NotFinite) as error:
            why_not = str(error)
        except NotAQuantity as error:
            why_not = _("“{text}” is no number.").format(text=error.text)
    page = PlansPage(
        tabs=[Tab(str(one.name), reverse("studies:sampling-plans", args=[one.slug]), one is asked) for one in QUESTIONS],
        about=str(asked.about),
        form=form,
        sections=drawn_sections(Analysis("undecided", "", tuple(sections))),
        why_not=why_not,
        crumbs=sampling_crumbs(Crumb(_("Sampling plans"))),
    )
    context = {"page": page, "place": PLACE}
    return render(request, "studies/sampling/plans.html", context, status=422 if why_not or form.errors else 200)


def _answered(question: Question, asked: dict[str, Any]) -> list[Section]:
    """The answer, with figures kept to what can be computed while somebody waits. Raises as the computation does."""
    if (asked.get("lot_size") or 0) > LARGEST_LOT:
        raise NotASetting("lot size", asked["lot_size"])
    if (asked.get("n") or 0) > LARGEST_LOT:
        raise NotASetting("n", asked["n"])
    if (asked.get("failures") or 0) > 100:
        raise NotASetting("failures", asked["failures"])
    return question.answer(asked)
