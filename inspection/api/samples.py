"""Samples: measured value by value, concluded, countersigned or turned down."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspection.acts.samples import (
    APPROVED_MEANING,
    MEASURED_MEANING,
    TURNED_DOWN_MEANING,
    conclude_sample,
    countersign_first_piece,
    record_pull,
    record_reading,
    record_visual,
    turn_down_first_piece,
)
from inspection.api.showing import PullOut, ReadingOut, SampleWhole, VisualOut, sample_shown
from inspection.models import PullTest, Reading, ReadingSource, Sample, VisualFinding
from shop.api.fields import AnySerializer, Count, FigureIn, SignatureIn, Word
from shop.api.view import KEY_HEADER, ActKeyed, ApiView, SignedAct, asked, done_once, found, signed
from shop.characteristics import Characteristic
from shop.clock import now
from shop.finding import Refused, misfit
from shop.people import Person

TAGS = ["make"]

# --- What is asked ---------------------------------------------------------------------------------------------------------------


class MeasurementIn(ActKeyed):
    corrects = Count(least=1, required=False, allow_null=True, default=None, help_text="Id of the row of this sample that it corrects.")
    reason = serializers.CharField(max_length=200, required=False, allow_blank=True, default="", help_text="Why it is corrected.")


class ValueIn(MeasurementIn):
    piece = Count(least=1)
    value = FigureIn()
    unit = serializers.CharField(max_length=8, help_text="mm or in of a length, N or lbf of a force, mΩ of a resistance, % of a share.")
    confirmed = serializers.BooleanField(
        required=False, default=False, help_text="The person stands by a value that was refused as implausible."
    )
    came = serializers.CharField(
        max_length=16,
        required=False,
        allow_blank=True,
        default="",
        help_text=f"How the value came in: {', '.join(ReadingSource.values)}. A simulated one is taken where the shop trains only.",
    )


class ReadingIn(ValueIn):
    characteristic = Word(Characteristic, max_length=40)


class PullIn(ValueIn):
    mode = serializers.CharField(max_length=40, help_text="How the test ended.")


class VisualIn(MeasurementIn):
    criterion = serializers.CharField(max_length=40)
    accepted = serializers.BooleanField()
    note = serializers.CharField(max_length=200, required=False, allow_blank=True, default="", help_text="Needed where it is rejected.")


class ConcludeIn(ActKeyed):
    signature = SignatureIn(required=False, allow_null=True, default=None, help_text="Needed of every sample but those in process.")
    seen_sha256 = serializers.CharField(max_length=64, required=False, allow_blank=True, default="", help_text="content_sha256 as seen.")


class CountersignIn(SignedAct):
    seen_sha256 = serializers.CharField(max_length=64, help_text="content_sha256 of the sample as seen.")


class TurnDownIn(SignedAct):
    reason = serializers.CharField(max_length=200, allow_blank=True)


# --- Views -----------------------------------------------------------------------------------------------------------------------


class SampleView(ApiView):
    @extend_schema(summary="Read a sample", tags=TAGS, responses={200: SampleWhole})
    def get(self, request: Request, pk: int) -> Response:
        """With its plan, its rows, and what a signature would cover."""
        return Response(sample_shown(found(Sample, pk=pk).pk))


_NUMBER_AND_UNIT = re.compile(r"\s*([+\-−]?[0-9.,]+)\s*([A-Za-zµμ\"″]+)\s*")


def value_of(body: Mapping[str, Any]) -> tuple[str, str]:
    """The figure and its unit. A gauge may send "1.402 mm" beside the unit mm; two different units are refused."""
    sent = _NUMBER_AND_UNIT.fullmatch(body["value"])
    if sent is None or sent[2].lower() in ("e", "nan", "inf"):
        return body["value"].strip(), body["unit"]
    if sent[2].lower() != body["unit"].strip().lower():
        raise Refused([misfit("data.invalid", "unit", message=f"The value says {sent[2]}, the unit says {body['unit']}.")])
    return sent[1], body["unit"]


def _corrected(rows: Any, body: Mapping[str, Any]) -> Any:
    """The row that is corrected, which has to be one of this sample."""
    if body["corrects"] is None:
        return None
    row = rows.filter(pk=body["corrects"]).first()
    if row is None:
        raise Refused([misfit("data.unknown", "corrects", thing="row of this sample", name=str(body["corrects"]))])
    return row


def _recorded(
    request: Request, act: str, body: Mapping[str, Any], do: Callable[[Person, datetime], int], rows: Any, out: type[AnySerializer]
) -> Response:
    pk = int(done_once(request, act, body, do))
    return Response(out(rows.get(pk=pk)).data, status=201)


class ReadingsView(ApiView):
    @extend_schema(summary="Record a length", tags=TAGS, parameters=[KEY_HEADER], request=ReadingIn, responses={201: ReadingOut})
    def post(self, request: Request, pk: int) -> Response:
        """As typed or sent by a gauge; judged at once. An implausible value is refused once and recorded when confirmed."""
        sample, body = found(Sample, pk=pk), asked(request, ReadingIn)
        text, unit = value_of(body)
        stated = {name: body[name] for name in ("characteristic", "piece", "confirmed", "reason")}
        corrects: Reading | None = _corrected(sample.readings, body)

        def do(by: Person, at: datetime) -> int:
            return record_reading(sample=sample, text=text, unit=unit, source=body["came"], corrects=corrects, by=by, at=at, **stated).pk

        return _recorded(request, "record reading", body, do, sample.readings.all(), ReadingOut)


class PullsView(ApiView):
    @extend_schema(summary="Record a pull test", tags=TAGS, parameters=[KEY_HEADER], request=PullIn, responses={201: PullOut})
    def post(self, request: Request, pk: int) -> Response:
        """The peak force and how the test ended; judged at once."""
        sample, body = found(Sample, pk=pk), asked(request, PullIn)
        text, unit = value_of(body)
        stated = {name: body[name] for name in ("piece", "mode", "confirmed", "reason")}
        corrects: PullTest | None = _corrected(sample.pull_tests, body)

        def do(by: Person, at: datetime) -> int:
            return record_pull(sample=sample, text=text, unit=unit, source=body["came"], corrects=corrects, by=by, at=at, **stated).pk

        return _recorded(request, "record pull", body, do, sample.pull_tests.all(), PullOut)


class VisualsView(ApiView):
    @extend_schema(summary="Record a visual finding", tags=TAGS, parameters=[KEY_HEADER], request=VisualIn, responses={201: VisualOut})
    def post(self, request: Request, pk: int) -> Response:
        """Accept or reject of one criterion; a reject needs a note."""
        sample, body = found(Sample, pk=pk), asked(request, VisualIn)
        stated = {name: body[name] for name in ("criterion", "accepted", "note", "reason")}
        corrects: VisualFinding | None = _corrected(sample.visual_findings, body)

        def do(by: Person, at: datetime) -> int:
            return record_visual(sample=sample, corrects=corrects, by=by, at=at, **stated).pk

        return _recorded(request, "record visual", body, do, sample.visual_findings.all(), VisualOut)


class ConcludeView(ApiView):
    @extend_schema(summary="Conclude a sample", tags=TAGS, parameters=[KEY_HEADER], request=ConcludeIn, responses={200: SampleWhole})
    def post(self, request: Request, pk: int) -> Response:
        """The verdict follows from the values. What does not conform puts the batch on hold."""
        sample, body = found(Sample, pk=pk), asked(request, ConcludeIn)
        signing = signed(request, body["signature"], MEASURED_MEANING, now()) if body["signature"] else None

        def do(by: Person, at: datetime) -> int:
            return conclude_sample(sample=sample, by=by, at=at, signing=signing, seen_sha256=body["seen_sha256"]).pk

        done_once(request, "conclude sample", body, do, signing=signing)
        return Response(sample_shown(pk))


class CountersignView(ApiView):
    @extend_schema(
        summary="Countersign a first piece", tags=TAGS, parameters=[KEY_HEADER], request=CountersignIn, responses={200: SampleWhole}
    )
    def post(self, request: Request, pk: int) -> Response:
        """An inspector, who is not the one who measured it."""
        sample, body = found(Sample, pk=pk), asked(request, CountersignIn)
        signing = signed(request, body["signature"], APPROVED_MEANING, now())

        def do(by: Person, at: datetime) -> int:
            return countersign_first_piece(sample=sample, by=by, at=at, signing=signing, seen_sha256=body["seen_sha256"]).pk

        done_once(request, "countersign first piece", body, do, signing=signing)
        return Response(sample_shown(pk))


class TurnDownView(ApiView):
    @extend_schema(summary="Turn a first piece down", tags=TAGS, parameters=[KEY_HEADER], request=TurnDownIn, responses={200: SampleWhole})
    def post(self, request: Request, pk: int) -> Response:
        """Although its values conform: the batch goes on hold, with the reason."""
        sample, body = found(Sample, pk=pk), asked(request, TurnDownIn)
        signing = signed(request, body["signature"], TURNED_DOWN_MEANING, now())

        def do(by: Person, at: datetime) -> int:
            return turn_down_first_piece(sample=sample, reason=body["reason"], by=by, at=at, signing=signing).pk

        done_once(request, "turn first piece down", body, do, signing=signing)
        return Response(sample_shown(pk))
