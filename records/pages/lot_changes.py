"""What happens to a lot after it was built, one form for each act: split, merge, rework, release, scrap, and taking harnesses back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from inspection.models import Batch, BatchStatus
from records.acts.lot_changes import (
    MERGED_MEANING,
    RELEASED_MEANING,
    RETURNED_MEANING,
    REWORKED_MEANING,
    SCRAPPED_MEANING,
    SPLIT_MEANING,
    SplitPart,
    merge_lots,
    receive_return,
    release_lot,
    rework_lot,
    scrap_harnesses,
    split_lot,
)
from records.balances import harnesses_left, harnesses_left_of, pieces_left_of, serials_in, still_away
from records.models import HarnessLot, Shipment, ShipmentLot
from records.pages.counted import count, counts, numbered
from shop.clock import now
from shop.pages.acting import Refusal, acting, person_of, require
from shop.permissions import Deed
from shop.sign_on import sign

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

PLACE = "prove"


@dataclass(frozen=True, slots=True)
class Asked:
    """A field of the form. kind: text, count or lines."""

    name: str
    label: str
    kind: str
    value: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Counted:
    """Something of which the form asks how many."""

    name: str
    label: str
    left: int
    value: str


@dataclass(frozen=True, slots=True)
class ChangePage:
    """One act on a lot or a shipment."""

    title: str
    sentence: str
    back_name: str
    back_kind: str
    fields: list[Asked]
    counted_title: str
    counted: list[Counted]
    meaning: str
    button: str
    caution: str


@dataclass(frozen=True, slots=True)
class Act:
    """What the page of an act says. fields: those it asks, in order."""

    title: StrOrPromise
    button: StrOrPromise
    meaning: str
    deed: Deed
    fields: tuple[str, ...]
    caution: StrOrPromise = ""


ACTS = {
    "split": Act(
        gettext_lazy("Split lot"), gettext_lazy("Sign and split"), SPLIT_MEANING, Deed.BUILD_LOT, ("number", "quantity", "serials")
    ),
    "merge": Act(gettext_lazy("Merge lot with others"), gettext_lazy("Sign and merge"), MERGED_MEANING, Deed.BUILD_LOT, ("number",)),
    "rework": Act(
        gettext_lazy("Record rework of lot"),
        gettext_lazy("Sign the rework"),
        REWORKED_MEANING,
        Deed.RELEASE_LOT,
        ("number", "quantity", "reason", "serials"),
        gettext_lazy(
            "A crimp is not crimped again: rework means a new terminal on a new end. The reworked lot waits for quality's release."
        ),
    ),
    "release": Act(gettext_lazy("Release lot"), gettext_lazy("Sign the release"), RELEASED_MEANING, Deed.RELEASE_LOT, ("reason",)),
    "scrap": Act(
        gettext_lazy("Scrap harnesses of lot"), gettext_lazy("Sign and scrap"), SCRAPPED_MEANING, Deed.RELEASE_LOT, ("quantity", "reason")
    ),
}
LABELS = {
    "number": (gettext_lazy("Number of the new lot"), "text", ""),
    "quantity": (gettext_lazy("How many"), "count", ""),
    "reason": (gettext_lazy("Why, and how it was looked at"), "text", ""),
    "serials": (gettext_lazy("Serial numbers taken"), "lines", gettext_lazy("One a line. Only for lots that have serial numbers.")),
}


def _fields(request: HttpRequest, names: tuple[str, ...], proposed: dict[str, str]) -> list[Asked]:
    return [
        Asked(name, str(LABELS[name][0]), LABELS[name][1], request.POST.get(name, proposed.get(name, "")), str(LABELS[name][2]))
        for name in names
    ]


def _counted(request: HttpRequest, lot: HarnessLot, act: str) -> tuple[str, list[Counted]]:
    typed = numbered(request, "n-")
    if act == "merge":
        lots = list(HarnessLot.objects.filter(job=lot.job_id, kind=lot.kind, kept_back="").order_by("built_at", "pk"))
        left = harnesses_left_of(lots)
        rows = [
            Counted(f"n-{one.pk}", one.number, left[one.pk], typed.get(one.pk, str(left[one.pk]) if one == lot and not typed else ""))
            for one in lots
            if left[one.pk] > 0
        ]
        return _("Harnesses of each lot"), rows
    if act == "rework":
        batches = Batch.objects.filter(termination__sheet__job=lot.job_id, status=BatchStatus.CLOSED).order_by("closed_at")
        pieces = pieces_left_of(batches)
        rows = [Counted(f"n-{b.pk}", b.number, pieces[b.pk], typed.get(b.pk, "")) for b in batches if pieces[b.pk] > 0]
        return _("Pieces of batches that went in"), rows
    return "", []


def change_form(request: HttpRequest, number: str, act: str, *, refusal: Refusal | None = None) -> HttpResponse:
    lot, said = get_object_or_404(HarnessLot.objects.select_related("job"), number=number), ACTS[act]
    letter = {"split": "S", "merge": "M", "rework": "R"}.get(act, "")
    made = HarnessLot.objects.filter(number__startswith=f"{lot.number}-{letter}").count() + 1
    title, rows = _counted(request, lot, act)
    serials = [s.serial for s in serials_in(lot)]
    fields = _fields(request, tuple(f for f in said.fields if f != "serials" or serials), {"number": f"{lot.number}-{letter}{made}"})
    sentence = _("%(left)s of %(built)s are left in the lot.") % {"left": harnesses_left(lot), "built": lot.quantity}
    if lot.kept_back:
        sentence += " " + _("Kept back: %(reason)s.") % {"reason": lot.kept_back}
    if serials and "serials" in said.fields:
        sentence += " " + _("Serial numbers in it: %(serials)s.") % {
            "serials": ", ".join(serials[:60]) + (" …" if len(serials) > 60 else "")
        }
    page = ChangePage(
        title=f"{said.title} {lot.number}",
        sentence=sentence,
        back_name=lot.number,
        back_kind="lot",
        fields=fields,
        counted_title=title,
        counted=rows,
        meaning=said.meaning,
        button=str(said.button),
        caution=str(said.caution),
    )
    return render(request, "prove/lot_change.html", {"place": PLACE, "page": page, "refusal": refusal})


@require_http_methods(["GET", "POST"])
def change(request: HttpRequest, number: str, act: str) -> HttpResponse:
    if act not in ACTS:
        raise Http404
    return _change(request, number, act)


@acting(again=change_form)
def _change(request: HttpRequest, number: str, act: str) -> HttpResponse:
    person = require(request, ACTS[act].deed)
    if request.method == "GET":
        return change_form(request, number, act)
    lot, at = get_object_or_404(HarnessLot, number=number), now()
    typed = {name: request.POST.get(name, "").strip() for name in ("number", "reason")}
    serials = request.POST.get("serials", "").split()
    quantity = count(request.POST.get("quantity", ""), "quantity") if "quantity" in ACTS[act].fields else 0
    given = counts(numbered(request, "n-"), "lots")
    signing = sign(identifier=person.username, secret=request.POST.get("secret", ""), meaning=ACTS[act].meaning, at=at)
    opened = lot.number
    match act:
        case "split":
            part = SplitPart(typed["number"], quantity, tuple(serials))
            opened = split_lot(lot=lot, parts=[part], by=person, at=at, signing=signing)[0].number
        case "merge":
            opened = merge_lots(number=typed["number"], lots=given, by=person, at=at, signing=signing).number
        case "rework":
            opened = rework_lot(
                lot=lot,
                number=typed["number"],
                quantity=quantity,
                reason=typed["reason"],
                batches=given,
                serials=serials,
                by=person,
                at=at,
                signing=signing,
            ).number
        case "release":
            release_lot(lot=lot, reason=typed["reason"], by=person, at=at, signing=signing)
        case "scrap":
            scrap_harnesses(lot=lot, quantity=quantity, reason=typed["reason"], by=person, at=at, signing=signing)
    return redirect("prove:lot", number=opened)


def take_back_form(request: HttpRequest, number: str, *, refusal: Refusal | None = None) -> HttpResponse:
    shipment = get_object_or_404(Shipment.objects.select_related("customer"), number=number)
    typed = numbered(request, "n-")
    lines = ShipmentLot.objects.filter(shipment=shipment).select_related("lot")
    rows = [Counted(f"n-{line.lot_id}", line.lot.number, still_away(shipment, line.lot), typed.get(line.lot_id, "")) for line in lines]
    made = HarnessLot.objects.filter(number__startswith=f"{shipment.number}-B").count() + 1
    page = ChangePage(
        title=_("Harnesses back from %(shipment)s") % {"shipment": shipment.number},
        sentence=_("What came back gets a number of its own and is kept back until quality has decided."),
        back_name=shipment.number,
        back_kind="shipment",
        fields=_fields(request, ("number", "reason", "serials"), {"number": f"{shipment.number}-B{made}"}),
        counted_title=_("Harnesses of one lot that came back"),
        counted=[row for row in rows if row.left > 0],
        meaning=RETURNED_MEANING,
        button=_("Sign for the return"),
        caution="",
    )
    return render(request, "prove/lot_change.html", {"place": PLACE, "page": page, "refusal": refusal})


@require_http_methods(["GET", "POST"])
@acting(again=take_back_form)
def take_back(request: HttpRequest, number: str) -> HttpResponse:
    """One lot of a shipment at a time: each return has a number of its own."""
    require(request, Deed.SHIP)
    if request.method == "GET":
        return take_back_form(request, number)
    person, at = person_of(request), now()
    shipment = get_object_or_404(Shipment.objects.select_related("customer"), number=number)
    given = counts(numbered(request, "n-"), "lots")
    quantity = count(" ".join(str(n) for n in given.values()), "lots")
    lot = get_object_or_404(HarnessLot, pk=next(iter(given)))
    signing = sign(identifier=person.username, secret=request.POST.get("secret", ""), meaning=RETURNED_MEANING, at=at)
    back = receive_return(
        shipment=shipment,
        lot=lot,
        number=request.POST.get("number", "").strip(),
        quantity=quantity,
        reason=request.POST.get("reason", ""),
        serials=request.POST.get("serials", "").split(),
        by=person,
        at=at,
        signing=signing,
    )
    return redirect("prove:lot", number=back.number)
