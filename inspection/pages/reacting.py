"""A chart has signalled: what was found, what was done. Asked at the press before the next sample."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext_lazy as _

from inspection.acts.control import answer_signals, open_signals
from inspection.control import ChartSignal, ReactionCause
from inspection.models import Batch
from inspection.pages.floor import REFUSED_PAGE, batch_for, draw, gone, perform
from inspection.pages.values import Choice
from inspection.process.run_rules import rules_from_text
from inspection.queries import step_url
from inspection.run_rule_words import rule_name, rule_words
from shop.pages.acting import Refusal, acting
from shop.people import Person


@dataclass(frozen=True, slots=True)
class SignalLine:
    characteristic: str
    rule: str
    words: str
    sample: str
    points: str


@dataclass(frozen=True, slots=True)
class ReactionPage:
    batch: Batch
    signals: list[SignalLine]
    causes: tuple[Choice, ...]
    text: str
    plan: tuple[str, ...]


USUAL_PLAN = (
    _("Stop feeding. Keep the pieces since the last good sample together."),
    _("Look at the newest pieces: strands, bell mouth, brush, insulation support, cut-off tab."),
    _("Measure one more piece; check that the gauge shows zero."),
    _("Look at what changed: reel, spool, setting, crimper and anvil, feed, person."),
    _("If it lies with tool or press, call whoever sets up; lock out and tag out before anything is touched."),
    _("If pieces may be bad, stop the run: quality decides about them."),
)


def reaction_plan() -> tuple[str, ...]:
    """The steps as the shop's setting says them, else the usual ones (common practice, no source). The application specification, the
    customer's plan and the control plan outrank them."""
    own = tuple(step.strip() for step in settings.REACTION_PLAN if step.strip())
    return own or tuple(str(step) for step in USUAL_PLAN)


def signal_line(signal: ChartSignal) -> SignalLine:
    rule = next((r for r in rules_from_text(signal.limits.rules) if r.code == signal.rule), None)
    return SignalLine(
        characteristic=signal.get_characteristic_display(),
        rule=rule_name(signal.rule),
        words=rule_words(rule) if rule else signal.rule,
        sample=str(signal.sample),
        points=", ".join(signal.points),
    )


def _page(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    batch = batch_for(number)
    signals = open_signals(batch)
    if not signals:
        return gone(request, batch, refusal) if refusal else redirect(step_url(batch))
    picked = request.POST.get("cause", "")
    causes = tuple(Choice(value, str(label), value == picked) for value, label in ReactionCause.choices)
    page = ReactionPage(batch, [signal_line(signal) for signal in signals], causes, request.POST.get("text", ""), reaction_plan())
    return draw(request, "make/reaction.html", page, batch=batch, refusal=refusal)


@acting(again=_page, template=REFUSED_PAGE)
def reaction(request: HttpRequest, number: str) -> HttpResponse:
    """One answer for everything that is open: signals at one sample mostly have one cause."""
    if request.method != "POST":
        return _page(request, number)
    signals = open_signals(batch_for(number))

    def do(by: Person, at: datetime) -> int:
        made = answer_signals(signals=signals, cause=request.POST.get("cause", ""), text=request.POST.get("text", ""), by=by, at=at)
        return made[0].pk

    perform(request, "reaction", do)
    return redirect("make:batch", number)
