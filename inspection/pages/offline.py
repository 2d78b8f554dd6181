"""Going on without the network: the station pack, the tablet's acts when the connection is back, and what people decide about them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.db.models import Q
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.dateparse import parse_datetime
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_POST

from inspection.acts.claims import DISOWNED_MEANING, confirm_signature, disown_signature
from inspection.acts.offline import (
    NOTE_MEANING,
    SKEW_TOLD,
    TAKEN_OVER_MEANING,
    Answered,
    Sent,
    concerns_hold,
    followers_of,
    keep_as_note,
    may_decide,
    replay,
    take_over,
    undecided_acts,
)
from inspection.drawing.criterion_sketch import sketch
from inspection.models import ClaimedSignature, OfflineAct, OfflineKind
from inspection.pack import as_data
from inspection.pack_queries import station_pack
from inspection.pages.floor import REFUSED_PAGE, draw, own_signature, perform
from inspection.pages.offline_words import WORDS
from inspection.queries import worked_at
from inspection.set_up import findings_from_text
from inspection.verdict import PullMode
from shop.clock import now
from shop.criteria import VISUAL_CRITERIA, title_of
from shop.finding import misfit
from shop.pages.acting import Refusal, acting, person_of
from shop.tablets import tablet_of
from shop.wording import Worded, worded

MOST_ACTS = 200
"""As many acts as one request takes; a tablet sends the rest in the next one."""


@login_not_required
@require_GET
def offline(request: HttpRequest) -> HttpResponse:
    """The page that goes on without the network. It names nobody: the tablet keeps it, and fills it from the station pack."""
    said = (("accept", True), ("reject", False))
    sketches = [(f"{c.code}-{name}", sketch(c.code, good=good)) for c in VISUAL_CRITERIA for name, good in said]
    pictures = [(name, mark_safe(drawn)) for name, drawn in sketches if drawn]  # noqa: S308  # our own SVG, without a word from outside
    modes = [(mode.value, mode.value.replace(" ", "-")) for mode in PullMode]
    words = {name: str(text) for name, text in WORDS.items()} | {"shop": settings.SHOP_NAME}
    return render(request, "make/offline.html", {"words": words, "modes": modes, "pictures": pictures, "person": None})


@ensure_csrf_cookie
@require_GET
def pack(request: HttpRequest) -> HttpResponse:
    """The station pack. A tablet that has this version already gets 304 and no body."""
    at, tablet = now(), tablet_of(request)
    batches = terminations = Q()
    if tablet is not None:
        # What is made at its station, and the batch on the screen wherever it belongs.
        batches = worked_at(tablet.station, "termination__") | Q(number=request.GET.get("batch", ""))
        terminations = worked_at(tablet.station)
    made = station_pack(person_of(request), at, batches_only=batches, terminations_only=terminations)
    tag = f'"{made.version}"'
    known = request.headers.get("If-None-Match") == tag
    response = HttpResponse(status=304) if known else JsonResponse(as_data(made))
    response["ETag"] = tag
    return response


# --- The acts of a tablet ---------------------------------------------------------------------------------------------------------


class NotSent(ValueError):  # noqa: N818  # reads as what happened
    """A body that is no list of acts. field: which part of it."""

    def __init__(self, field: str) -> None:
        self.field = field
        super().__init__(field)


def _moment(value: object, field: str) -> datetime:
    try:
        moment = parse_datetime(value) if isinstance(value, str) else None
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None or not 2000 <= moment.year <= 2200:
        raise NotSent(field)
    return moment


def _string(row: Mapping[str, Any], field: str, most: int = 300) -> str:
    value = row.get(field, "")
    if not isinstance(value, str) or len(value) > most or "\0" in value:
        raise NotSent(field)
    return value


def _plainly(value: object) -> bool:
    """Only what a record can hold: no fractions, no NUL, nothing deep."""
    if isinstance(value, str):
        return "\0" not in value
    if isinstance(value, bool) or value is None:
        return True
    if isinstance(value, int):
        return abs(value) < 2**53
    if isinstance(value, list):
        return all(_plainly(one) for one in value)
    if isinstance(value, dict):
        return all("\0" not in name and _plainly(one) for name, one in value.items())
    return False


def _sent(row: object) -> Sent:
    if not isinstance(row, dict):
        raise NotSent("acts")
    content = row.get("content", {})
    fields = row.get("fields", [])
    if not isinstance(content, dict) or not _plainly(content) or len(json.dumps(content)) > 20_000:
        raise NotSent("content")
    if not isinstance(fields, list) or any(not isinstance(p, list) or len(p) != 2 or not _plainly(p) for p in fields):
        raise NotSent("fields")
    return Sent(
        key=_string(row, "key", 64),
        kind=_string(row, "kind", 16),
        batch=_string(row, "batch", 80),
        by=_string(row, "by", 60),
        made_at=_moment(row.get("made_at"), "made_at"),
        content=content,
        ticket=_string(row, "ticket", 200),
        path=_string(row, "path"),
        fields=[(str(name), str(value)) for name, value in fields],
    )


@require_POST
def acts(request: HttpRequest) -> HttpResponse:
    """Take in what a tablet kept while it was away. One act that does not fit stops nothing but what builds on it."""
    try:
        body = json.loads(request.body)
        rows = body.get("acts") if isinstance(body, dict) else None
        if not isinstance(body, dict) or not isinstance(rows, list) or len(rows) > MOST_ACTS:
            raise NotSent("acts")
        tablet, tablet_now = _string(body, "tablet", 64), _moment(body.get("tablet_now"), "tablet_now")
        listed = [_sent(row) for row in rows]
    except (NotSent, ValueError, RecursionError) as error:
        field = error.field if isinstance(error, NotSent) else "body"
        refused = worded(misfit("offline.content", field, what=field))
        return JsonResponse({"findings": [_worded(refused)]}, status=422)
    at = now()
    answers = replay(acts=listed, sent_by=person_of(request), tablet=tablet, tablet_now=tablet_now, at=at)
    skew = at - tablet_now
    return JsonResponse(
        {
            "now": at.isoformat(),
            "clock_off_s": round(skew.total_seconds()),
            "clock": clock_words(skew),
            "answers": [_answer(one) for one in answers],
        }
    )


def clock_words(skew: timedelta) -> str:
    """What is said about a tablet's clock; nothing where it is right enough."""
    if abs(skew) <= SKEW_TOLD:
        return ""
    minutes = round(abs(skew).total_seconds() / 60)
    text = (
        ngettext("This tablet's clock is %d minute slow.", "This tablet's clock is %d minutes slow.", minutes)
        if skew > timedelta(0)
        else ngettext("This tablet's clock is %d minute fast.", "This tablet's clock is %d minutes fast.", minutes)
    )
    return text % minutes + " " + _("Its acts were recorded at the server's time; both times are kept.")


def _worded(words: Worded) -> dict[str, str]:
    return {"rule": words.rule, "title": words.title, "what": words.what, "expected": words.expected, "next_step": words.next_step}


def _answer(one: Answered) -> dict[str, object]:
    return {
        "key": one.key,
        "state": one.state,
        "batch": one.batch,
        "verdict": one.verdict,
        "result": one.result,
        "aside": one.aside,
        "findings": [_worded(worded(f)) for f in one.findings if f.blocks],
    }


# --- Undecided acts ---------------------------------------------------------------------------------------------------------------


def act_words(act: OfflineAct) -> str:
    """What an act says, in a line."""
    c = act.content
    try:
        match act.kind:
            case OfflineKind.OPEN:
                return _("%(quantity)s pieces") % {"quantity": c["quantity"]}
            case OfflineKind.SCAN:
                return str(c["code"])
            case OfflineKind.START:
                return _("%(kind)s at piece %(count)s") % {"kind": c["sample_kind"], "count": c["at_count"]}
            case OfflineKind.READING:
                named = {"name": c["characteristic"], "piece": c["piece"], "value": f"{c['text']} {c['unit']}"}
                return _("%(name)s, piece %(piece)s: %(value)s") % named
            case OfflineKind.PULL:
                named = {"piece": c["piece"], "value": f"{c['text']} {c['unit']}", "mode": c["mode"]}
                return _("pull test, piece %(piece)s: %(value)s, %(mode)s") % named
            case OfflineKind.VISUAL:
                rejected = [f"{title_of(one['criterion'])}: {one.get('note', '')}" for one in c["answers"] if not one["accepted"]]
                return "; ".join(rejected) or _("%d criteria accepted") % len(c["answers"])
            case OfflineKind.CROSS_SECTION:
                return _("accepted") if c["accepted"] else _("rejected: %s") % c.get("note", "")
            case OfflineKind.CONCLUDE:
                return str(c.get("outcome", ""))
            case OfflineKind.COUNTERSIGN:
                return str(c["badge"])
            case OfflineKind.HOLD:
                return _("%(reason)s, at piece %(count)s") % {"reason": c["reason"], "count": c["at_count"]}
            case OfflineKind.COUNTS:
                return ", ".join(f"{name} {c[name]}" for name in ("made", "good", "scrap", "destroyed", "held"))
    except (KeyError, TypeError):
        pass  # an act of another shape is still shown, as it came
    return ", ".join(f"{name}: {value}" for name, value in c.items() if isinstance(value, str | int))[:200]


@dataclass(frozen=True, slots=True)
class UndecidedRow:
    """One act that waits. why: empty for one that only waits behind another; clock: where the tablet's clock was off."""

    pk: int
    kind: str
    said: str
    person: str
    made_at: datetime
    clock: str
    why: tuple[Worded, ...]
    waits: bool
    may: bool


@dataclass(frozen=True, slots=True)
class UndecidedGroup:
    batch: str
    rows: tuple[UndecidedRow, ...]


@dataclass(frozen=True, slots=True)
class UndecidedPage:
    groups: tuple[UndecidedGroup, ...]


def _kind_word(kind: str) -> str:
    return str(OfflineKind(kind).label) if kind in OfflineKind.values else kind


def _row(act: OfflineAct, request: HttpRequest) -> UndecidedRow:
    return UndecidedRow(
        pk=act.pk,
        kind=_kind_word(act.kind),
        said=act_words(act),
        person=act.by.name,
        made_at=act.made_at,
        clock=clock_words(timedelta(seconds=act.skew_seconds)),
        why=tuple(worded(f) for f in findings_from_text(act.findings)),
        waits=act.follows_id is not None,
        may=may_decide(person_of(request), act),
    )


@require_GET
def undecided(request: HttpRequest) -> HttpResponse:
    """What did not fit any more when a tablet came back, batch by batch, in the order in which it was made."""
    groups: dict[str, list[UndecidedRow]] = {}
    for act in undecided_acts():
        groups.setdefault(act.batch.number if act.batch else "–", []).append(_row(act, request))
    page = UndecidedPage(tuple(UndecidedGroup(name, tuple(rows)) for name, rows in groups.items()))
    return draw(request, "make/undecided.html", page)


@dataclass(frozen=True, slots=True)
class DecidePage:
    row: UndecidedRow
    batch: str
    following: tuple[str, ...]
    concerns_hold: bool
    reason: str
    take_meaning: str
    note_meaning: str


def _decide(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    act = get_object_or_404(OfflineAct.objects.select_related("batch__termination__sheet", "by"), pk=pk, set_aside=True)
    if hasattr(act, "decision") and refusal is None:
        return redirect("make:undecided")
    page = DecidePage(
        row=_row(act, request),
        batch=act.batch.number if act.batch else "",
        following=tuple(f"{_kind_word(one.kind)}: {act_words(one)}" for one in followers_of(act)),
        concerns_hold=concerns_hold(act),
        reason=request.POST.get("reason", ""),
        take_meaning=TAKEN_OVER_MEANING,
        note_meaning=NOTE_MEANING,
    )
    return draw(request, "make/undecided_act.html", page, refusal=refusal)


@sensitive_post_parameters("secret")
@acting(again=_decide, template=REFUSED_PAGE)
def decide_act(request: HttpRequest, pk: int) -> HttpResponse:
    """Take it over as things are now, or keep it as a note with a reason; signed either way."""
    if request.method != "POST":
        return _decide(request, pk)
    act = get_object_or_404(OfflineAct, pk=pk, set_aside=True)
    if request.POST.get("decision") == "take":
        signing = own_signature(request, TAKEN_OVER_MEANING)
        done = perform(request, "take over", lambda by, at: len(take_over(act=act, by=by, at=at, signing=signing)))
        messages.success(request, ngettext("%s act is recorded.", "%s acts are recorded.", int(done)) % done)
    else:
        signing = own_signature(request, NOTE_MEANING)
        reason, following = request.POST.get("reason", ""), "following" in request.POST
        done = perform(
            request,
            "keep as note",
            lambda by, at: len(keep_as_note(act=act, reason=reason, by=by, at=at, signing=signing, following=following)),
        )
        messages.success(request, ngettext("%s act is kept as a note.", "%s acts are kept as notes.", int(done)) % done)
    return redirect("make:undecided")


# --- Signatures given without the network -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ClaimRow:
    pk: int
    batch: str
    sample: str
    meaning: str
    person: str
    made_at: datetime
    own: bool


@dataclass(frozen=True, slots=True)
class ConfirmPage:
    own: tuple[ClaimRow, ...]
    others: tuple[ClaimRow, ...]


def _claim_row(claim: ClaimedSignature, request: HttpRequest) -> ClaimRow:
    s = claim.sample
    shown = f"{s.number}, {s.get_kind_display()}"
    own = claim.person_id == person_of(request).pk
    return ClaimRow(claim.pk, s.batch.number, shown, claim.meaning, claim.person.name, claim.made_at, own)


@require_GET
def confirm(request: HttpRequest) -> HttpResponse:
    """Signatures that were given without the network: one's own to confirm, those of others to know about."""
    claims = ClaimedSignature.objects.filter(answer__isnull=True).select_related("sample__batch", "person")
    rows = [_claim_row(claim, request) for claim in claims]
    page = ConfirmPage(tuple(r for r in rows if r.own), tuple(r for r in rows if not r.own))
    return draw(request, "make/confirm.html", page)


@dataclass(frozen=True, slots=True)
class SignedLine:
    name: str
    value: str
    limits: str
    outcome: str
    word: str


@dataclass(frozen=True, slots=True)
class ConfirmOnePage:
    """Exactly what was signed: sha256 is of this content."""

    row: ClaimRow
    lines: tuple[SignedLine, ...]
    outcome: str
    sha256: str
    reason: str
    disown_meaning: str


def _between(stated: Mapping[str, str]) -> str:
    """The limits of a reading as its signed content has them."""
    low, high = stated.get("low", ""), stated.get("high", "")
    if low and high:
        return f"{low} – {high}"
    return _("at least %s") % low if low else _("at most %s") % high if high else ""


def _lines(content: Mapping[str, Any]) -> list[SignedLine]:
    words = {"conforms": _("conforms"), "does not conform": _("does not conform"), "undecided": _("cannot be decided")}
    lines = []
    for r in content.get("readings", ()):
        stated = next((value for name, value in r.items() if name.startswith("limits_")), None)
        limits = _between(stated or {})
        name = f"{r['characteristic']} {r['piece']}"
        lines.append(SignedLine(name, f"{r['value']} {r['unit']}", limits, r["outcome"], words[r["outcome"]]))
    for p in content.get("pull_tests", ()):
        name = _("pull force %s") % p["piece"]
        limits = _("at least %s N") % p["minimum_n"]
        lines.append(SignedLine(name, f"{p['value']} {p['unit']}", f"{limits}, {p['mode']}", p["outcome"], words[p["outcome"]]))
    seen = content.get("visual") or ([content] if "criterion" in content else [])
    for v in seen:
        outcome, word = ("conforms", _("accepted")) if v["accepted"] else ("does not conform", _("rejected"))
        lines.append(SignedLine(title_of(v["criterion"]), "", v["note"], outcome, word))
    return lines


def _confirm_one(request: HttpRequest, pk: int, *, refusal: Refusal | None = None) -> HttpResponse:
    claim = get_object_or_404(ClaimedSignature.objects.select_related("sample__batch", "person"), pk=pk)
    if hasattr(claim, "answer") and refusal is None:
        return redirect("make:confirm")
    content = claim.content
    outcome = content.get("outcome") or ("conforms" if content.get("accepted") else "does not conform")
    page = ConfirmOnePage(
        row=_claim_row(claim, request),
        lines=tuple(_lines(content)),
        outcome=outcome,
        sha256=claim.content_sha256,
        reason=request.POST.get("reason", ""),
        disown_meaning=DISOWNED_MEANING,
    )
    return draw(request, "make/confirm_one.html", page, refusal=refusal)


@sensitive_post_parameters("secret")
@acting(again=_confirm_one, template=REFUSED_PAGE)
def confirm_one(request: HttpRequest, pk: int) -> HttpResponse:
    """The person signs with their PIN what they signed without the network, or says that it was not them."""
    if request.method != "POST":
        return _confirm_one(request, pk)
    claim = get_object_or_404(ClaimedSignature.objects.select_related("sample__batch"), pk=pk)
    if request.POST.get("answer") == "confirm":
        signing = own_signature(request, claim.meaning)
        seen = request.POST.get("seen_sha256", "")
        perform(
            request,
            "confirm signature",
            lambda by, at: confirm_signature(claim=claim, by=by, at=at, signing=signing, seen_sha256=seen).pk,
        )
        messages.success(request, _("The signature is confirmed."))
    else:
        signing = own_signature(request, DISOWNED_MEANING)
        reason = request.POST.get("reason", "")
        perform(
            request,
            "disown signature",
            lambda by, at: disown_signature(claim=claim, reason=reason, by=by, at=at, signing=signing).pk,
        )
        messages.warning(request, _("The batch is on hold: quality decides."))
    return redirect("make:confirm")
