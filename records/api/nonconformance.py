"""Nonconformances: opening, each step to the proof that it worked, closing, reopening, the report."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import Http404
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspection.acts.nonconformances import (
    CLOSED_MEANING,
    VERIFIED_MEANING,
    ActionInput,
    CauseInput,
    Link,
    MeasureInput,
    OpenInput,
    VerifyInput,
    close_nonconformance,
    end_action,
    link_to_nonconformance,
    open_nonconformance,
    overdue_actions,
    reopen_nonconformance,
    state_action,
    state_cause,
    state_measure,
    verify_effect,
)
from inspection.models import (
    ActionKind,
    ActionResult,
    Batch,
    CorrectiveAction,
    FoundAt,
    Hold,
    LinkKind,
    LotInspection,
    MeasureKind,
    Nonconformance,
    Origin,
    Scope,
    SetupPart,
)
from inspection.nonconformance_from import hold_link
from inspection.occurrences import SAME_BY, same_before
from records.acts.reports import issue_nonconformance_report
from records.api.documents import DocumentWhole
from records.gather.nonconformance import load_nonconformance, nonconformance_record
from records.nonconformance_links import link_to
from records.nonconformance_pages import STATES, records_for, same_rows
from records.pages.sealing import sealing
from records.report_content import NonconformanceRecord
from shop.api.fields import AnySerializer, Asked, Count, Shape, Word
from shop.api.view import KEY_HEADER, ActKeyed, ApiView, ListView, SignedAct, asked, done_once, found, named_in_body, person_of, signed
from shop.clock import now, shop_day
from shop.crib import Press
from shop.finding import Refused, misfit
from shop.jobs import Customer
from shop.materials import Terminal, TerminalLot, Wire, WireLot
from shop.people import Person
from shop.permissions import Deed, may
from shop.tools import Tool

TAGS = ["nonconformance"]

_NAMED: tuple[tuple[str, Any, str], ...] = (
    ("batch", Batch, "number"),
    ("tool", Tool, "asset_number"),
    ("press", Press, "asset_number"),
    ("terminal", Terminal, "part_number"),
    ("wire", Wire, "part_number"),
    ("person", Person, "username"),
    ("terminal_lot", TerminalLot, "lot_number"),
    ("wire_lot", WireLot, "lot_number"),
    ("customer", Customer, "code"),
)


def _number(thing: str) -> Any:
    return serializers.CharField(max_length=60, required=False, default="", allow_blank=True, help_text=thing)


# --- What is asked ---------------------------------------------------------------------------------------------------------------


class PointsAtIn(Asked):
    """Something it is about. Holds and inspected lots are named by their id, everything else by its number."""

    kind = Word(LinkKind, max_length=20)
    number = serializers.CharField(max_length=60, help_text="Id of a hold or an inspected lot; else the number.")


class NonconformanceIn(ActKeyed):
    what = serializers.CharField(max_length=500, allow_blank=True, help_text="Facts only.")
    requirement = serializers.CharField(max_length=300, allow_blank=True)
    defect_kind = serializers.CharField(
        max_length=80, allow_blank=True, help_text="A visual criterion's code, limits.<characteristic>, pull.<how it ended>, or other.<…>."
    )
    origin = Word(Origin, max_length=20, required=False, default=Origin.SEEN.value)
    found_at = Word(FoundAt, max_length=12, required=False, default=FoundAt.IN_PROCESS.value)
    quantity = Count(required=False, allow_null=True, default=None, help_text="Pieces concerned.")
    batch = _number("Its number.")
    tool = _number("Asset number.")
    press = _number("Asset number.")
    terminal = _number("Part number.")
    wire = _number("Part number.")
    person = _number("User name; shown to quality and the administrator only.")
    terminal_lot = _number("Lot number.")
    wire_lot = _number("Lot number.")
    customer = _number("Code, of a complaint.")
    customer_reference = _number("The customer's own number.")
    points_at = PointsAtIn(many=True, required=False, default=list)


class PointsAt(ActKeyed):
    points_at = PointsAtIn(many=True)


class CauseIn(ActKeyed):
    parts = serializers.ListField(child=Word(SetupPart, max_length=12), max_length=6, help_text="Which of the six failed.")
    occurred = serializers.CharField(max_length=500, allow_blank=True, help_text="Why it occurred.")
    undetected = serializers.CharField(max_length=500, allow_blank=True, help_text="Why it was not noticed earlier.")
    because = serializers.ListField(
        child=serializers.CharField(max_length=400), required=False, default=list, max_length=50, help_text="Up to five lines."
    )


class CorrectiveActionIn(ActKeyed):
    kind = Word(ActionKind, max_length=12)
    what = serializers.CharField(max_length=500, allow_blank=True)
    responsible = serializers.CharField(max_length=60, help_text="User name.")
    due_on = serializers.DateField()


class ActionEndIn(ActKeyed):
    result = Word(ActionResult, max_length=8)
    evidence = serializers.CharField(max_length=500, allow_blank=True, help_text="What shows it; of a dropped one, why.")


class EffectMeasureIn(ActKeyed):
    kind = Word(MeasureKind, max_length=10)
    scope = Word(Scope, max_length=12, required=False, default="", allow_blank=True)
    target = Count(required=False, allow_null=True, default=None, help_text="How many pieces or batches.")
    until = serializers.DateField(required=False, allow_null=True, default=None)
    text = serializers.CharField(max_length=500, required=False, default="", allow_blank=True)


class EffectCheckIn(SignedAct):
    text = serializers.CharField(max_length=500, allow_blank=True, help_text="What was seen.")
    worked = serializers.BooleanField(required=False, allow_null=True, default=None, help_text="Of a proof in words only.")
    study = _number("Number of the study, where one is the proof.")


class NonconformanceClosingIn(SignedAct):
    conclusion = serializers.CharField(max_length=500, required=False, default="", allow_blank=True)
    without_action_because = serializers.CharField(
        max_length=500,
        required=False,
        default="",
        allow_blank=True,
        help_text="Why a correction is enough; leave out where actions were done.",
    )


class ReopeningIn(ActKeyed):
    reason = serializers.CharField(max_length=500, allow_blank=True)


# --- What is shown ---------------------------------------------------------------------------------------------------------------


class NonconformanceOut(AnySerializer):
    """A nonconformance, in short."""

    number = serializers.CharField()
    state = serializers.CharField(help_text="open or closed.")
    what = serializers.CharField()
    defect_kind = serializers.CharField()
    origin = Word(Origin)
    found_at = Word(FoundAt)
    quantity = serializers.IntegerField(allow_null=True)
    batch = serializers.CharField(source="batch.number", default="")
    tool = serializers.CharField(source="tool.asset_number", default="")
    terminal = serializers.CharField(source="terminal.part_number", default="")
    wire = serializers.CharField(source="wire.part_number", default="")
    open_actions = serializers.IntegerField()
    next_due = serializers.DateField(allow_null=True)
    opened_by = serializers.CharField(source="opened_by.username")
    opened_at = serializers.DateTimeField()


class NonconformanceWhole(AnySerializer):
    """A nonconformance from finding to proof, in the words of its report."""

    record = Shape(NonconformanceRecord)
    person = serializers.CharField(help_text="User name; empty where there is none or the caller may not see it.")
    defect_kind = serializers.CharField()
    state = serializers.CharField()


class SameOut(AnySerializer):
    """A nonconformance of the same kind of defect at the same thing."""

    number = serializers.CharField()
    what = serializers.CharField()
    at = serializers.CharField(help_text="What they have in common.")
    word = serializers.CharField(help_text="Its state.")


class CorrectiveActionOut(AnySerializer):
    nonconformance = serializers.CharField(source="nonconformance.number")
    number = serializers.IntegerField()
    kind = Word(ActionKind)
    what = serializers.CharField()
    responsible = serializers.CharField(source="responsible.username")
    due_on = serializers.DateField()
    result = serializers.CharField(help_text="Empty while it is open; done or dropped.")
    evidence = serializers.CharField()
    ended_at = serializers.DateTimeField(allow_null=True)


def _record(number: str) -> Nonconformance:
    try:
        return load_nonconformance(number)
    except Nonconformance.DoesNotExist as error:
        raise Http404 from error


def shown(number: str, reader: Person) -> dict[str, Any]:
    record = _record(number)
    sees = record.person is not None and may(reader, Deed.SEE_FINDINGS_BY_PERSON)
    told = {"record": nonconformance_record(record, now()), "defect_kind": record.defect_kind, "state": record.state}
    whole: dict[str, Any] = NonconformanceWhole(told | {"person": record.person.username if record.person and sees else ""}).data
    return whole


def _links(given: list[dict[str, str]]) -> list[Link]:
    links = []
    for one in given:
        if one["kind"] in (LinkKind.HOLD, LinkKind.INSPECTION):
            links.append(_by_id(one["kind"], one["number"]))
        else:
            links.append(link_to(one["kind"], one["number"]))
    return links


def _by_id(kind: str, text: str) -> Link:
    pk = int(text) if text.isascii() and text.isdigit() and len(text) < 18 else 0
    if kind == LinkKind.HOLD:
        hold = Hold.objects.select_related("batch").filter(pk=pk).first()
        if hold is not None:
            return hold_link(hold)
    row = LotInspection.objects.select_related("scheme").filter(pk=pk).first() if kind == LinkKind.INSPECTION else None
    if row is None:
        raise Refused([misfit("nc.link", "points_at", kind=kind, name=text)])
    return Link(kind, row.pk, str(row))


# --- Views -----------------------------------------------------------------------------------------------------------------------


class NonconformancesView(ListView):
    @extend_schema(
        summary="List nonconformances",
        tags=TAGS,
        parameters=[
            OpenApiParameter("state", str, enum=STATES, description="Left out, open ones."),
            OpenApiParameter("found_at", str, enum=FoundAt.values),
            OpenApiParameter("kind", str, description="Kind of defect."),
            OpenApiParameter("mine", bool, description="Given at all: with an open action of the caller's."),
            OpenApiParameter("q", str, description="Words in its number, its text, or what it is about."),
        ],
        responses={200: NonconformanceOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Newest first."""
        return self.pages(records_for(request.query_params.dict(), person_of(request), shop_day(now())), NonconformanceOut)

    @extend_schema(
        summary="Open a nonconformance", tags=TAGS, parameters=[KEY_HEADER], request=NonconformanceIn, responses={201: NonconformanceWhole}
    )
    def post(self, request: Request) -> Response:
        """From a finding, with what it may have to do with. What becomes of the pieces is decided where they are held."""
        body = asked(request, NonconformanceIn)
        things: dict[str, Any] = {
            n: named_in_body(model.objects.all(), n, **{column: body[n]}) if body[n] else None for n, model, column in _NAMED
        }
        same = {name: body[name] for name in ("what", "requirement", "defect_kind", "origin", "found_at", "quantity", "customer_reference")}
        links = _links(body["points_at"])

        def do(by: Person, at: datetime) -> str:
            return open_nonconformance(stated=OpenInput(**same, **things), links=links, by=by, at=at).number

        return Response(shown(done_once(request, "open nonconformance", body, do), person_of(request)), status=201)


class NonconformanceView(ApiView):
    @extend_schema(summary="Read a nonconformance", tags=TAGS, responses={200: NonconformanceWhole})
    def get(self, request: Request, number: str) -> Response:
        """With the numbers of its proof as they are now."""
        return Response(shown(number, person_of(request)))


class SameView(ApiView):
    @extend_schema(
        summary="Ask whether the same was there before",
        tags=TAGS,
        parameters=[
            OpenApiParameter("kind", str, required=True, description="Kind of defect."),
            *(OpenApiParameter(name, str, description="By its number.") for name in SAME_BY),
        ],
        responses={200: SameOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Open ones, and those closed within the shop's days, of this kind at any of these things."""
        query, reader, things = request.query_params, person_of(request), {}
        for name, model, column in _NAMED:
            text = query.get(name, "").replace("\0", "")
            if name in SAME_BY and text and (name != "person" or may(reader, Deed.SEE_FINDINGS_BY_PERSON)):
                things[name] = model.objects.filter(**{column: text}).first()
        return Response(SameOut(same_rows(same_before(query.get("kind", ""), now(), **things), reader), many=True).data)


class LinksView(ApiView):
    @extend_schema(
        summary="Add what a nonconformance is about",
        tags=TAGS,
        parameters=[KEY_HEADER],
        request=PointsAt,
        responses={200: NonconformanceWhole},
    )
    def post(self, request: Request, number: str) -> Response:
        """A further finding, a containment case, lots and shipments."""
        record, body = _record(number), asked(request, PointsAt)
        links = _links(body["points_at"])

        def do(by: Person, at: datetime) -> str:
            return link_to_nonconformance(record=record, links=links, by=by, at=at).number

        done_once(request, "add to nonconformance", body, do)
        return Response(shown(number, person_of(request)))


class CausesView(ApiView):
    @extend_schema(summary="State a cause", tags=TAGS, parameters=[KEY_HEADER], request=CauseIn, responses={200: NonconformanceWhole})
    def post(self, request: Request, number: str) -> Response:
        """A later statement stands in place of the earlier, which stays readable."""
        record, body = _record(number), asked(request, CauseIn)
        stated = CauseInput(tuple(body["parts"]), body["occurred"], body["undetected"], tuple(body["because"]))

        def do(by: Person, at: datetime) -> int:
            return state_cause(record=record, stated=stated, by=by, at=at).pk

        done_once(request, "state cause", body, do)
        return Response(shown(number, person_of(request)))


class ActionsView(ApiView):
    @extend_schema(
        summary="State a corrective action",
        tags=TAGS,
        parameters=[KEY_HEADER],
        request=CorrectiveActionIn,
        responses={201: CorrectiveActionOut},
    )
    def post(self, request: Request, number: str) -> Response:
        """What is done, who sees to it, until when."""
        record, body = _record(number), asked(request, CorrectiveActionIn)
        responsible = named_in_body(Person.objects.all(), "responsible", username=body["responsible"])
        stated = ActionInput(body["kind"], body["what"], responsible, body["due_on"])

        def do(by: Person, at: datetime) -> int:
            return state_action(record=record, stated=stated, by=by, at=at).pk

        pk = int(done_once(request, "state corrective action", body, do))
        return Response(CorrectiveActionOut(_actions().get(pk=pk)).data, status=201)


def _actions() -> Any:
    return CorrectiveAction.objects.select_related("nonconformance", "responsible")


class OverdueView(ListView):
    @extend_schema(summary="List overdue corrective actions", tags=TAGS, responses={200: CorrectiveActionOut(many=True)})
    def get(self, request: Request) -> Response:
        """Those that waited longest first."""
        return self.pages(overdue_actions(shop_day(now())), CorrectiveActionOut)


class ActionEndView(ApiView):
    @extend_schema(
        summary="End a corrective action", tags=TAGS, parameters=[KEY_HEADER], request=ActionEndIn, responses={200: CorrectiveActionOut}
    )
    def post(self, request: Request, number: str, action: int) -> Response:
        """By who sees to it, whatever their role: done with evidence, or dropped with a reason."""
        row, body = found(_actions(), nonconformance__number=number, number=action), asked(request, ActionEndIn)

        def do(by: Person, at: datetime) -> int:
            return end_action(action=row, result=body["result"], evidence=body["evidence"], by=by, at=at).pk

        done_once(request, "end corrective action", body, do)
        return Response(CorrectiveActionOut(_actions().get(pk=row.pk)).data)


class MeasuresView(ApiView):
    @extend_schema(
        summary="State what will prove the effect",
        tags=TAGS,
        parameters=[KEY_HEADER],
        request=EffectMeasureIn,
        responses={200: NonconformanceWhole},
    )
    def post(self, request: Request, number: str) -> Response:
        """Before anybody looks. Counting begins with batches opened after every action has ended."""
        record, body = _record(number), asked(request, EffectMeasureIn)
        stated = MeasureInput(**{name: body[name] for name in ("kind", "scope", "target", "until", "text")})

        def do(by: Person, at: datetime) -> int:
            return state_measure(record=record, stated=stated, by=by, at=at).pk

        done_once(request, "state measure of effect", body, do)
        return Response(shown(number, person_of(request)))


class VerificationView(ApiView):
    @extend_schema(
        summary="Verify the effect", tags=TAGS, parameters=[KEY_HEADER], request=EffectCheckIn, responses={200: NonconformanceWhole}
    )
    def post(self, request: Request, number: str) -> Response:
        """Signed by somebody who did none of the actions. Where the proof counts samples, they decide."""
        record, body = _record(number), asked(request, EffectCheckIn)
        signing = signed(request, body["signature"], VERIFIED_MEANING, now())
        stated = VerifyInput(body["text"], body["worked"], body["study"])

        def do(by: Person, at: datetime) -> int:
            return verify_effect(record=record, stated=stated, by=by, at=at, signing=signing).pk

        done_once(request, "verify effect", body, do, signing=signing)
        return Response(shown(number, person_of(request)))


class NonconformanceClosureView(ApiView):
    @extend_schema(
        summary="Close a nonconformance",
        tags=TAGS,
        parameters=[KEY_HEADER],
        request=NonconformanceClosingIn,
        responses={200: NonconformanceWhole},
    )
    def post(self, request: Request, number: str) -> Response:
        """Signed by quality, when nothing is open; or with a correction only, saying why that is enough."""
        record, body = _record(number), asked(request, NonconformanceClosingIn)
        signing = signed(request, body["signature"], CLOSED_MEANING, now())
        given = {name: body[name] for name in ("conclusion", "without_action_because")}

        def do(by: Person, at: datetime) -> int:
            return close_nonconformance(record=record, by=by, at=at, signing=signing, **given).pk

        done_once(request, "close nonconformance", body, do, signing=signing)
        return Response(shown(number, person_of(request)))


class ReopeningView(ApiView):
    @extend_schema(
        summary="Reopen a nonconformance", tags=TAGS, parameters=[KEY_HEADER], request=ReopeningIn, responses={200: NonconformanceWhole}
    )
    def post(self, request: Request, number: str) -> Response:
        """By quality, with a reason: actions and proof begin anew."""
        record, body = _record(number), asked(request, ReopeningIn)

        def do(by: Person, at: datetime) -> str:
            return reopen_nonconformance(record=record, reason=body["reason"], by=by, at=at).number

        done_once(request, "reopen nonconformance", body, do)
        return Response(shown(number, person_of(request)))


class NonconformanceReportView(ApiView):
    @extend_schema(summary="Issue a nonconformance report", tags=TAGS, request=None, responses={201: DocumentWhole})
    @sealing
    def post(self, request: Request, number: str) -> Response:
        """As it stands now; the same state is issued once."""
        document = issue_nonconformance_report(record=_record(number), by=person_of(request), at=now())
        return Response(DocumentWhole(document).data, status=201)
