"""One value a screen, judged at once: lengths and pull forces, typed on the keys or sent by a gauge."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _

from inspection.acts.samples import record_pull, record_reading
from inspection.bar import Bar, Value, limit_bar
from inspection.devices import Device, device_for
from inspection.models import PullTest, Reading, ReadingSource, Sample, SampleState
from inspection.pages.floor import REFUSED_PAGE, draw, gone, perform
from inspection.pages.photos import photo_in, photo_name
from inspection.pages.samples import LastAnswer, last_answer, sample_for, sample_url
from inspection.photos import keep_photo
from inspection.plan import Planned, plan_of
from inspection.queries import limits_words
from inspection.values_words import HOW, UNITS
from inspection.verdict import Limits, Outcome, Plausible, PullMode, parse_reading, plausibility
from shop.characteristics import MEASURED, Characteristic, Quantity
from shop.figures import recorded
from shop.pages.acting import Refusal, acting, person_of
from shop.people import Display, Person
from shop.quantity import NotAQuantity
from shop.tools import GaugeKind

_WITH_UNIT = re.compile(
    r"\s*([+\-−]?[0-9.,]+)\s*(mm|in|\"|[µμu]m|kN|N|lbf|kgf|m(?:[ΩΩ]|ohm)|[µμu](?:[ΩΩ]|ohm)|[ΩΩ]|ohm|%)\s*", re.IGNORECASE
)
_SPELLED = {
    "mm": "mm",
    "in": "in",
    '"': "in",
    "µm": "µm",
    "μm": "µm",
    "um": "µm",
    "n": "N",
    "kn": "kN",
    "lbf": "lbf",
    "kgf": "kgf",
    "%": "%",
    "mω": "mΩ",
    "mohm": "mΩ",
    "µω": "µΩ",
    "μω": "µΩ",
    "uohm": "µΩ",
    "ω": "Ω",
    "ohm": "Ω",
}


def value_in(request: HttpRequest, quantity: Quantity) -> tuple[str, str]:
    """The text and its unit. A gauge that sends "1.402 mm" says its unit itself; the digits stay as sent."""
    unit = request.POST.get("unit", "")
    if "take" in request.POST:  # the person took what was suggested, which is in the unit of the limits
        return request.POST["take"].strip(), UNITS[quantity][0]
    text = recorded(request.POST.get("text", "")).strip()
    sent = _WITH_UNIT.fullmatch(text)
    if sent and not sent[2].startswith("M"):  # a megohm is no milliohm
        return sent[1], _SPELLED[sent[2].lower()]  # of another quantity: refused with its unit named
    return text, unit if unit in UNITS[quantity] else UNITS[quantity][0]


@dataclass(frozen=True, slots=True)
class Doubt:
    """The question about an implausible reading. suggestion: what was probably meant, empty where nothing explains it."""

    typed: str
    suggestion: str
    unit: str
    is_unit_slip: bool


@dataclass(frozen=True, slots=True)
class Choice:
    value: str
    label: str
    checked: bool


@dataclass(frozen=True, slots=True)
class ValuePage:
    """One value of a sample. corrected: the value it replaces, empty for a first entry."""

    sample: Sample
    name: str
    piece: int
    pieces: int
    limits: str
    how: str
    bar: Bar
    text: str
    units: tuple[Choice, ...]
    modes: tuple[Choice, ...]
    last: LastAnswer | None
    doubt: Doubt | None
    corrected: str
    reason: str
    needs_gauge: bool
    source: str
    device: Device
    same: str


def source_in(request: HttpRequest) -> str:
    """How the value on this form came in; a form that does not say was typed into."""
    said = request.POST.get("source", "")
    return said if said in ReadingSource.values else ReadingSource.TYPED.value


def preferred_unit(request: HttpRequest, quantity: Quantity) -> str:
    """The unit used last at this tablet, else the person's own."""
    kept = request.POST.get("unit") or request.session.get(f"unit_{quantity}")
    if kept in UNITS[quantity]:
        return str(kept)
    inch = person_of(request).display == Display.INCH and quantity in ("length", "force")
    return UNITS[quantity][1 if inch else 0]


def _keep_unit(request: HttpRequest, quantity: Quantity, unit: str) -> None:
    if request.session.get(f"unit_{quantity}") != unit:
        request.session[f"unit_{quantity}"] = unit


def _doubt(request: HttpRequest, refusal: Refusal | None, quantity: Quantity, limits: Limits) -> Doubt | None:
    if refusal is None or not any(f.rule == "reading.implausible" for f in refusal.findings):
        return None
    text, unit = value_in(request, quantity)
    try:
        found = plausibility(parse_reading(text, unit, quantity).value, limits)
    except NotAQuantity:
        return None
    suggestion = "" if found.suggestion is None else f"{found.suggestion:f}"
    return Doubt(f"{text} {unit}", suggestion, UNITS[quantity][0], found.kind is Plausible.UNIT)


def _value_page(
    request: HttpRequest,
    sample: Sample,
    *,
    quantity: Quantity,
    name: str,
    piece: int,
    pieces: int,
    gauge_kind: str,
    limits: Limits,
    how: str,
    earlier: Sequence[Reading | PullTest],
    refusal: Refusal | None,
    corrects: Reading | PullTest | None,
) -> ValuePage:
    unit = preferred_unit(request, quantity)
    after = request.GET.get("after", "")
    last = None if refusal or corrects else last_answer(sample, after)
    values = [
        Value(row.value if isinstance(row, Reading) else row.force_n, f"{row.text} {row.unit}", Outcome(row.outcome))
        for row in earlier
        if row != corrects
    ]
    newest = values.pop() if values and last and after.endswith(f"-{earlier[-1].pk}") else None
    mode = request.POST.get("mode", corrects.mode if isinstance(corrects, PullTest) else "")
    modes = tuple(Choice(m.value, str(m.value), m.value == mode) for m in PullMode) if quantity == "force" else ()
    return ValuePage(
        sample=sample,
        name=name,
        piece=piece,
        pieces=pieces,
        limits=limits_words(limits, UNITS[quantity][0]),
        how=how,
        bar=limit_bar(limits, UNITS[quantity][0], title=name, earlier=values, current=newest),
        text=request.POST.get("text", ""),
        units=tuple(Choice(u, u, u == unit) for u in UNITS[quantity]),
        modes=modes,
        last=last,
        doubt=_doubt(request, refusal, quantity, limits),
        corrected="" if corrects is None else f"{corrects.text} {corrects.unit}",
        reason=request.POST.get("reason", ""),
        source=source_in(request),
        device=device_for(sample, gauge_kind, quantity, limits),
        same="" if corrects is None else corrects.text,
        needs_gauge=refusal is not None and any(f.rule.startswith(("use.gauge", "reading.gauge")) for f in refusal.findings),
    )


def named(slug: str) -> str:
    """The characteristic an address names: "cut-off-tab" is the cut-off tab."""
    found = next((c for c in MEASURED if c.replace(" ", "-") == slug.replace(" ", "-")), None)
    if found is None:
        raise Http404
    return found


def _planned(sample: Sample, characteristic: str) -> Planned:
    planned = plan_of(sample).planned(characteristic)
    if planned is None:
        raise Http404
    return planned


def draw_reading(
    request: HttpRequest,
    number: str,
    sample: int,
    characteristic: str,
    piece: int,
    *,
    refusal: Refusal | None = None,
    corrects: Reading | None = None,
) -> HttpResponse:
    taken = sample_for(number, sample)
    planned = _planned(taken, named(characteristic))
    earlier = list(taken.readings.standing().filter(characteristic=planned.characteristic).order_by("pk"))
    over = taken.state != SampleState.OPEN or (corrects is None and any(r.piece == piece for r in earlier))
    if over or not 1 <= piece <= planned.pieces:
        return gone(request, taken.batch, refusal) if refusal else redirect(sample_url(taken))
    page = _value_page(
        request,
        taken,
        quantity=planned.quantity,
        name=str(Characteristic(planned.characteristic).label),
        piece=piece,
        pieces=planned.pieces,
        gauge_kind=planned.gauge_kind,
        limits=planned.limits,
        how=str(HOW[planned.characteristic]),
        earlier=earlier,
        refusal=refusal,
        corrects=corrects,
    )
    return draw(request, "make/value.html", page, batch=taken.batch, refusal=refusal)


@acting(again=draw_reading, template=REFUSED_PAGE)
def reading(request: HttpRequest, number: str, sample: int, characteristic: str, piece: int) -> HttpResponse:
    if request.method != "POST":
        return draw_reading(request, number, sample, characteristic, piece)
    return record_typed_value(request, sample_for(number, sample), named(characteristic), piece, None)


def record_typed_value(request: HttpRequest, sample: Sample, characteristic: str, piece: int, corrects: Reading | None) -> HttpResponse:
    quantity = MEASURED[characteristic].quantity
    text, unit = value_in(request, quantity)
    _keep_unit(request, quantity, unit)

    def do(by: Person, at: datetime) -> int:
        return record_reading(
            sample=sample,
            characteristic=characteristic,
            piece=piece,
            text=text,
            unit=unit,
            by=by,
            at=at,
            confirmed="confirmed" in request.POST,
            corrects=corrects,
            reason=request.POST.get("reason", ""),
            source=source_in(request),
        ).pk

    row = perform(request, "correct reading" if corrects else "reading", do)
    return redirect(sample_url(sample, after=f"reading-{row}"))


def draw_pull(
    request: HttpRequest, number: str, sample: int, piece: int, *, refusal: Refusal | None = None, corrects: PullTest | None = None
) -> HttpResponse:
    taken = sample_for(number, sample)
    plan = plan_of(taken)
    earlier = list(taken.pull_tests.standing().order_by("pk"))
    over = taken.state != SampleState.OPEN or (corrects is None and any(p.piece == piece for p in earlier))
    if over or not 1 <= piece <= plan.pulls or plan.pull_minimum_n is None:
        return gone(request, taken.batch, refusal) if refusal else redirect(sample_url(taken))
    page = _value_page(
        request,
        taken,
        quantity="force",
        name=_("pull force"),
        piece=piece,
        pieces=plan.pulls,
        gauge_kind=GaugeKind.PULL_TESTER.value,
        limits=Limits(plan.pull_minimum_n, None),
        how=str(HOW["pull force"]),
        earlier=earlier,
        refusal=refusal,
        corrects=corrects,
    )
    return draw(request, "make/value.html", page, batch=taken.batch, refusal=refusal)


@acting(again=draw_pull, template=REFUSED_PAGE)
def pull(request: HttpRequest, number: str, sample: int, piece: int) -> HttpResponse:
    if request.method != "POST":
        return draw_pull(request, number, sample, piece)
    return record_typed_force(request, sample_for(number, sample), piece, None)


def record_typed_force(request: HttpRequest, sample: Sample, piece: int, corrects: PullTest | None) -> HttpResponse:
    text, unit = value_in(request, "force")
    _keep_unit(request, "force", unit)

    picture = photo_in(request, "photo")

    def do(by: Person, at: datetime) -> int:
        row = record_pull(
            sample=sample,
            piece=piece,
            text=text,
            unit=unit,
            mode=request.POST.get("mode", ""),
            by=by,
            at=at,
            confirmed="confirmed" in request.POST,
            corrects=corrects,
            reason=request.POST.get("reason", ""),
            source=source_in(request),
        )
        if picture is not None:
            title = f"Sample {sample.number}, pull test {piece}: {row.text} {row.unit}, {row.mode}"
            keep_photo(batch=sample.batch, title=title, name=photo_name(sample, f"pull-{piece}"), picture=picture, by=by, at=at)
        return row.pk

    row = perform(request, "correct pull" if corrects else "pull", do)
    return redirect(sample_url(sample, after=f"pull-{row}"))
