"""The handbook inside the program: how each person works, every rule with its meaning, formulas with their sources, running it."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace

from django import forms
from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.template import TemplateDoesNotExist
from django.template.loader import get_template
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_GET

from records.controls import CONTROLS
from shop.setting_names import SETTINGS
from shop.wording import RULES, RuleText

CHAPTERS: tuple[tuple[str, Promise], ...] = (
    ("plan", _("Plan: from a job to a released setup sheet")),
    ("make", _("Make: a batch at the press")),
    ("prove", _("Prove: trace, documents, evidence")),
    ("desk", _("The auditor's desk: finding, trails, who looked")),
    ("keeping", _("Keeping and disposing of records")),
    ("nonconformance", _("Nonconformance and corrective action")),
    ("catalogue", _("The catalogue and importing it")),
    ("signatures", _("Signatures, ledger and seals")),
    ("controls", _("Controls of electronic records and signatures")),
    ("gauges", _("Studies of gauges and inspectors")),
    ("charts", _("Charts and capability")),
    ("formulas", _("Formulas and tables with their sources")),
    ("api", _("The API")),
    ("deployment", _("Running it: settings, backup, keys")),
    ("cautions", _("Cautions")),
)


@login_not_required
@require_GET
def index(request: HttpRequest) -> HttpResponse:
    return render(request, "help/index.html", {"chapters": CHAPTERS})


@dataclass(frozen=True, slots=True)
class RuleRow:
    code: str
    words: RuleText


@dataclass(frozen=True, slots=True)
class RuleGroup:
    name: str
    rows: list[RuleRow]


@login_not_required
@require_GET
def rules(request: HttpRequest) -> HttpResponse:
    """Every code a refusal can carry. Made from the rules themselves, so that none is missing."""
    groups: dict[str, list[RuleRow]] = {}
    for code, words in sorted(RULES.items()):
        groups.setdefault(code.split(".")[0], []).append(RuleRow(code, words))
    shown = [RuleGroup(name, rows) for name, rows in groups.items()]
    return render(request, "help/rules.html", {"groups": shown, "chapters": CHAPTERS})


@login_not_required
@require_GET
def chapter(request: HttpRequest, chapter: str) -> HttpResponse:
    titles = dict(CHAPTERS)
    if chapter not in titles:
        raise Http404
    try:
        get_template(f"help/{chapter}.html")
    except TemplateDoesNotExist as error:
        raise Http404 from error
    context = {
        "chapters": CHAPTERS,
        "current": chapter,
        "title": titles[chapter],
        "settings_table": SETTINGS,
        "controls": CONTROLS,
        "public_url": settings.PUBLIC_URL,
    }
    return render(request, f"help/{chapter}.html", context)


class _Specimen(forms.Form):
    height = forms.DecimalField(label=_("Crimp height, mm"), initial="1.40")
    document = forms.CharField(label=_("Document"), required=False)


@login_not_required
@require_GET
def look(request: HttpRequest) -> HttpResponse:
    """A specimen of every part that pages are made of."""
    states = ("proven", "proven", "failed", "open", "conceded", "undecided")
    codes = ("people", "wire", "terminal", "tool", "documents", "inspection")
    parts = [
        SimpleNamespace(code=code, name=code.title(), state=state, state_word=state, evidence=["evidence"])
        for code, state in zip(codes, states, strict=True)
    ]
    verdicts = [SimpleNamespace(outcome=word, word=word) for word in ("conforms", "does not conform", "undecided", "conceded", "waiting")]
    finding = SimpleNamespace(
        title=_("Conductor size in the terminal"),
        what="Wire 0.35 mm² is below the terminal's range 0.5 to 1.5 mm².",
        expected="",
        next_step="Pick another wire or another terminal.",
        verdict="misfit",
        rule="fit.conductor.csa",
        field="",
    )
    row = SimpleNamespace(
        name="Lead 14, end A",
        wire="W-075-RD",
        area="0.75",
        height="1.40",
        limits="1.35 … 1.45",
        force="142.0",
        least="85.0",
        summary="5 of 6 proven",
        outcome="conforms",
        word="conforms",
        selected=False,
    )
    bar = SimpleNamespace(
        label=_("Crimp height"),
        unit="mm",
        sentence="1.42 mm, limits 1.35 to 1.45 mm",
        low="1.35",
        nominal="1.40",
        high="1.45",
        low_at=20,
        nominal_at=50,
        high_at=80,
        within_at=20,
        within_width=60,
        marks=[SimpleNamespace(at=62, text="1.42", outcome="conforms", earlier=False)],
    )
    context = {
        "chapters": CHAPTERS,
        "crumbs": [SimpleNamespace(label=_("Help"), url="../"), SimpleNamespace(label=_("The look"), url="")],
        "parts": parts,
        "verdicts": verdicts,
        "findings": [finding],
        "table": [row],
        "rows": Paginator([row] * 3, 1).get_page(2),
        "form": _Specimen(),
        "bar": bar,
        "icons": [*codes, "plan", "make", "prove", "shop", "studies"],
        "signature": SimpleNamespace(name="Petra Lund", meaning="released", signed_at="2026-03-02 14:05 UTC", digest="9f86d081…"),
    }
    return render(request, "gallery.html", context)
