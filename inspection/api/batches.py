"""Batches: opened, scanned, stopped, decided on, closed. Every write carries a key, so that a retry doubles nothing."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspection.acts.batches import CLOSED_MEANING, Counts, close_batch, open_batch, scan
from inspection.acts.holds import DECIDED_MEANING, decide_hold, raise_hold
from inspection.acts.samples import start_sample
from inspection.api.showing import (
    BatchOut,
    BatchWhole,
    HoldOut,
    SampleOut,
    SampleWhole,
    ScanOut,
    batch_shown,
    batches,
    holds,
    sample_shown,
    samples,
)
from inspection.models import Batch, BatchStatus, HoldDecision, SampleKind
from inspection.queries import scan_findings
from inspection.scanning import found_for
from shop.api.fields import AnySerializer, Count, Word
from shop.api.problems import finding_out
from shop.api.view import KEY_HEADER, ActKeyed, ApiView, ListView, SignedAct, asked, done_once, found, named_in_body, signed
from shop.clock import now
from shop.finding import misfit
from shop.jobs import Termination
from shop.people import Person
from shop.scanned import LONGEST

TAGS = ["make"]


class BatchIn(ActKeyed):
    termination = Count(least=1, help_text="Id of the termination of a released sheet.")
    quantity = Count(help_text="Pieces planned.")


class ScanIn(ActKeyed):
    code = serializers.CharField(
        max_length=LONGEST,
        trim_whitespace=False,
        help_text="As read from the label of a tool, a reel, a spool or a gauge; GS1 element strings with their separators, in brackets or "
        "as a link.",
    )
    at_count = Count(required=False, allow_null=True, default=None, help_text="Pieces made so far; left out, the last stated.")


class SampleIn(ActKeyed):
    kind = Word(SampleKind, max_length=40)
    at_count = Count(help_text="Pieces made so far.")


class HoldIn(ActKeyed):
    reason = serializers.CharField(max_length=300, allow_blank=True)
    at_count = Count(help_text="Pieces made so far.")


class DecideIn(SignedAct):
    decision = Word(HoldDecision, max_length=40)
    reason = serializers.CharField(max_length=300, allow_blank=True)
    scrapped = Count(help_text="Suspect pieces that are scrapped.")
    kept_held = Count(help_text="Suspect pieces that stay on hold.")


class CloseIn(SignedAct):
    """Made = good + scrap + destroyed + held."""

    made = Count()
    good = Count()
    scrap = Count()
    destroyed = Count()
    held = Count()


class BatchesView(ListView):
    @extend_schema(
        summary="List batches",
        tags=TAGS,
        parameters=[
            OpenApiParameter("status", str, enum=BatchStatus.values),
            OpenApiParameter("number", str, description="Exactly this number."),
            OpenApiParameter("sheet", str, description="Number of the setup sheet."),
        ],
        responses={200: BatchOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Newest first."""
        rows: QuerySet[Batch] = batches()
        for name, column in (("status", "status"), ("number", "number"), ("sheet", "termination__sheet__number")):
            value = request.query_params.get(name, "").replace("\0", "")
            rows = rows.filter(**{column: value}) if value else rows
        return self.pages(rows, BatchOut)

    @extend_schema(summary="Open a batch", tags=TAGS, parameters=[KEY_HEADER], request=BatchIn, responses={201: BatchWhole})
    def post(self, request: Request) -> Response:
        """On a released sheet, by a qualified person. Tool, lots and gauges are scanned next."""
        body = asked(request, BatchIn)
        termination = named_in_body(Termination.objects.all(), "termination", pk=body["termination"])

        def do(by: Person, at: datetime) -> int:
            return open_batch(termination=termination, quantity=body["quantity"], by=by, at=at).pk

        return Response(batch_shown(int(done_once(request, "open batch", body, do))), status=201)


class BatchView(ApiView):
    @extend_schema(summary="Read a batch", tags=TAGS, responses={200: BatchWhole})
    def get(self, request: Request, pk: int) -> Response:
        """With its six parts, lots, samples and holds."""
        return Response(batch_shown(found(Batch, pk=pk).pk))


class ScanView(ApiView):
    @extend_schema(summary="Scan a label for a batch", tags=TAGS, parameters=[KEY_HEADER], request=ScanIn, responses={200: ScanOut})
    def post(self, request: Request, pk: int) -> Response:
        """A label that does not fit is an answer, not an error: it says accepted false, and why. It stays on record."""
        batch, body = found(Batch, pk=pk), asked(request, ScanIn)

        def do(by: Person, at: datetime) -> int:
            answer = scan(batch=batch, code=body["code"], by=by, at=at, at_count=body["at_count"])
            # The batch is locked until this act ends: its newest scan is this one. An unknown code leaves none.
            return answer.batch.scans.order_by("-pk").values_list("pk", flat=True)[0] if answer.part else 0

        row = batch.scans.filter(pk=int(done_once(request, "scan", body, do))).first()
        shown: dict[str, Any] = {"part": row.part if row else "", "accepted": row.accepted if row else False}
        if row:
            findings = scan_findings(row)
            shown |= {"code": row.code, "scanned": row.scanned, "choices": []}
        else:
            read = found_for(body["code"])
            findings = [read.finding or misfit("scan.unknown", "code", code=read.text)]
            shown |= {"code": read.text, "scanned": read.text, "choices": [lot.lot_number for lot in read.choices]}
        return Response(shown | {"findings": [finding_out(f) for f in findings], "batch": batch_shown(pk)})


class SamplesView(ApiView):
    @extend_schema(summary="List the samples of a batch", tags=TAGS, responses={200: SampleOut(many=True)})
    def get(self, request: Request, pk: int) -> Response:
        """In the order in which they were taken."""
        return Response(SampleOut(samples().filter(batch=found(Batch, pk=pk)), many=True).data)

    @extend_schema(summary="Start a sample", tags=TAGS, parameters=[KEY_HEADER], request=SampleIn, responses={201: SampleWhole})
    def post(self, request: Request, pk: int) -> Response:
        """At a piece count. One sample is measured at a time."""
        batch, body = found(Batch, pk=pk), asked(request, SampleIn)

        def do(by: Person, at: datetime) -> int:
            return start_sample(batch=batch, kind=body["kind"], at_count=body["at_count"], by=by, at=at).pk

        return Response(sample_shown(int(done_once(request, "start sample", body, do))), status=201)


class CloseView(ApiView):
    @extend_schema(summary="Close a batch", tags=TAGS, parameters=[KEY_HEADER], request=CloseIn, responses={200: BatchWhole})
    def post(self, request: Request, pk: int) -> Response:
        """Signed, with counts that balance."""
        batch, body = found(Batch, pk=pk), asked(request, CloseIn)
        signing = signed(request, body["signature"], CLOSED_MEANING, now())
        counts = Counts(**{name: body[name] for name in ("made", "good", "scrap", "destroyed", "held")})

        def do(by: Person, at: datetime) -> int:
            return close_batch(batch=batch, counts=counts, by=by, at=at, signing=signing).pk

        return Response(batch_shown(int(done_once(request, "close batch", body, do, signing=signing))))


# --- Holds -----------------------------------------------------------------------------------------------------------------------


class RaiseHoldView(ApiView):
    @extend_schema(summary="Put a batch on hold", tags=TAGS, parameters=[KEY_HEADER], request=HoldIn, responses={201: HoldOut})
    def post(self, request: Request, pk: int) -> Response:
        """Anybody at the press who sees something wrong stops the run."""
        batch, body = found(Batch, pk=pk), asked(request, HoldIn)

        def do(by: Person, at: datetime) -> int:
            return raise_hold(batch=batch, reason=body["reason"], at_count=body["at_count"], by=by, at=at).pk

        return Response(_hold(int(done_once(request, "stop the run", body, do))), status=201)


class HoldsView(ListView):
    @extend_schema(
        summary="List holds",
        tags=TAGS,
        parameters=[OpenApiParameter("open", bool, description="true: only those nobody has decided on.")],
        responses={200: HoldOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Newest first."""
        only_open = request.query_params.get("open", "") in ("1", "true")
        rows = holds().filter(decided_at__isnull=True) if only_open else holds()
        return self.pages(rows.order_by("-pk"), HoldOut)


class HoldView(ApiView):
    @extend_schema(summary="Read a hold", tags=TAGS, responses={200: HoldOut})
    def get(self, request: Request, pk: int) -> Response:
        """With the suspect pieces and the decision, if there is one."""
        return Response(_hold(pk))


class DecideView(ApiView):
    @extend_schema(summary="Decide on a hold", tags=TAGS, parameters=[KEY_HEADER], request=DecideIn, responses={200: HoldOut})
    def post(self, request: Request, pk: int) -> Response:
        """Quality or an inspector, signed: go on with a new first piece or end the batch, and what becomes of the suspect pieces."""
        hold, body = found(holds(), pk=pk), asked(request, DecideIn)
        signing = signed(request, body["signature"], DECIDED_MEANING, now())
        decided = {name: body[name] for name in ("decision", "reason", "scrapped", "kept_held")}

        def do(by: Person, at: datetime) -> int:
            return decide_hold(hold=hold, by=by, at=at, signing=signing, **decided).pk

        return Response(_hold(int(done_once(request, "decide on hold", body, do, signing=signing))))


def _hold(pk: int) -> Any:
    serializer: type[AnySerializer] = HoldOut
    return serializer(found(holds(), pk=pk)).data
