"""What every floor page does: find the batch, give each form a key, do an act once, and draw a screen with its seals."""

from __future__ import annotations

import uuid
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render

from inspection.models import Batch, BatchStatus
from inspection.pages.guiding import guide_lines
from inspection.queries import open_batches, sample_due, seals_of
from shop.clock import now
from shop.events import Signing
from shop.finding import Refused, misfit
from shop.once import form_digest, once
from shop.pages.acting import Refusal, person_of
from shop.people import Person
from shop.permissions import Deed, may
from shop.sign_on import person_for, sign
from shop.tablets import tablet_of
from shop.wording import Worded

NOT_CONTENT = {"csrfmiddlewaretoken", "act_key", "secret"}

REFUSED_PAGE = "make/refused.html"


def batch_for(number: str) -> Batch:
    batch = open_batches().filter(number=number).first()
    if batch is None:
        raise Http404
    return batch


def perform(request: HttpRequest, act: str, do: Callable[[Person, datetime], object], *, by: Person | None = None) -> str:
    """Do the act with the key its form carries; a retry of the same form gets the first answer and doubles nothing.

    What was typed is part of the act's name: a form that comes back with another value under an old key is refused, not ignored.
    """
    person, at = by or person_of(request), now()
    typed = [(name, value) for name in request.POST if name not in NOT_CONTENT for value in request.POST.getlist(name)]
    digest = form_digest(request.path, typed)
    return once(key=request.POST.get("act_key", ""), act=f"{act} {digest}", by=person, at=at, do=lambda: do(person, at))


def own_signature(request: HttpRequest, meaning: str) -> Signing:
    """The signature of the person at the tablet. Stands before the act: a wrong try stays counted."""
    return sign(identifier=person_of(request).username, secret=request.POST.get("secret", ""), meaning=meaning, at=now())


def signature_of_another(request: HttpRequest, meaning: str) -> Signing:
    """The signature of a person who comes to this tablet with badge and PIN."""
    return sign(identifier=request.POST.get("identifier", ""), secret=request.POST.get("secret", ""), meaning=meaning, at=now())


def count_in(request: HttpRequest, name: str) -> int:
    """A piece count as typed. Raises Refused for anything that is not a whole number from zero up."""
    text = request.POST.get(name, "").strip()
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        shown = text or "–"
        raise Refused([misfit("data.invalid", name, message=f"“{shown}” is not a number of pieces.")])
    return int(text)


@dataclass(frozen=True, slots=True)
class Rights:
    """What the person at the tablet may do: buttons that would be refused are not shown."""

    run: bool
    stop: bool
    decide: bool
    countersign: bool


NO_RIGHTS = Rights(run=False, stop=False, decide=False, countersign=False)


def rights_of(person: Person) -> Rights:
    run, decide = may(person, Deed.RUN_BATCH), may(person, Deed.DECIDE_HOLD)
    return Rights(run=run, stop=run or decide, decide=decide, countersign=may(person, Deed.COUNTERSIGN))


@dataclass(frozen=True, slots=True)
class Screen:
    """What stands around every question: the key of its form, what was refused, and what the person may do."""

    key: str
    findings: tuple[Worded, ...]
    rights: Rights
    lock_seconds: int = 0
    help_slug: str = "any"

    @property
    def help_template(self) -> str:
        return f"make/help/{self.help_slug}.html"

    def refused(self, *rules: str) -> bool:
        return any(f.rule in rules for f in self.findings)


SAYS_WHAT_IS_DUE = {"make/run.html", "make/start_sample.html"}
IN_A_SAMPLE = {"make/value.html", "make/visual.html", "make/cross_section.html", "make/overview.html"}
GUIDED = {*IN_A_SAMPLE, "make/inspector.html"}
"""Questions of a sample: their page has a `sample`, and what is still to do stands beside them."""

HELP = frozenset(
    [
        "station",
        "sign_on",
        "enrol",
        "start",
        "set_up",
        "change",
        "start_sample",
        "value",
        "visual",
        "cross_section",
        "overview",
        "inspector",
        "turn_down",
        "run",
        "readings",
        "reaction",
        "stop",
        "hold",
        "decide",
        "close",
        "closed",
        "undecided",
        "confirm",
        "any",
    ]
)
"""Screens with a help of their own, in templates/make/help."""


def help_for(template: str) -> str:
    """The name of the help that belongs to a screen's template."""
    name = template.rpartition("/")[2].removesuffix(".html")
    return name if name in HELP else "any"


def lock_seconds(request: HttpRequest) -> int:
    """After how long without a touch the tablet locks: as its station says, else as the shop's setting says."""
    tablet = tablet_of(request)
    minutes = tablet.station.idle_minutes if tablet else None
    return (minutes or settings.FLOOR_LOCK_MINUTES) * 60


def draw(
    request: HttpRequest, template: str, page: Any, *, batch: Batch | None = None, refusal: Refusal | None = None, part: str = "inspection"
) -> HttpResponse:
    """One floor screen. part: which of the six parts the question belongs to."""
    person = person_of(request)
    context: dict[str, object] = {
        "page": page,
        "screen": Screen(
            str(uuid.uuid4()), refusal.findings if refusal else (), rights_of(person), lock_seconds(request), help_for(template)
        ),
        "place": "make",
    }
    if batch is not None:
        tool = batch.termination.tool
        context |= {
            "batch": batch,
            "seals": seals_of(batch),
            "part": part,
            # Beside the question on every page of a running batch; the page of the run says it large, and a sample in hand answers it.
            "due": sample_due(batch, now()) if batch.status == BatchStatus.RUNNING and template not in SAYS_WHAT_IS_DUE else None,
            "due_in_sample": template in IN_A_SAMPLE,
            "guide": guide_lines(page.sample) if template in GUIDED else None,
            "station": f"{tool.asset_number if tool else ''} · {batch.number}",
        }
    return render(request, template, context, status=refusal.status if refusal else 200)


def gone(request: HttpRequest, batch: Batch, refusal: Refusal) -> HttpResponse:
    """The step the form belonged to is over (another tablet was faster): say why, and lead to the step the batch is at."""
    return draw(request, REFUSED_PAGE, None, batch=batch, refusal=refusal)


def proposed_identifier(request: HttpRequest, deed: Deed, *, but_not: int | None = None) -> str:
    """The badge to start from: what was typed, else that of the person at the tablet if they are the one who may do it."""
    typed = request.POST.get("identifier", "")
    person = person_of(request)
    if typed or not may(person, deed) or person.pk == but_not:
        return typed
    return person.badge or person.username


def named(identifier: str) -> str:
    """The name behind a badge, for the screen that asks for the PIN; empty for an unknown one, which the PIN will answer."""
    person = person_for(identifier)
    return person.name if person and person.is_active else ""
