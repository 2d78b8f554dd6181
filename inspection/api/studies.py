"""Studies: opened, filled place by place, taken over from production, signed, abandoned. Every write carries a key."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspection.acts.studies import (
    SIGNED_MEANING,
    abandon_study,
    analysis_of,
    open_study,
    opened,
    record_values,
    sign_study,
    study_content,
    take_over,
)
from inspection.study import Study, StudyState
from inspection.study_kinds.kind import StudyKind
from inspection.study_kinds.registry import KINDS
from shop.api.fields import AnySerializer, Asked, FigureIn, FindingSerializer, Word
from shop.api.problems import finding_out
from shop.api.view import KEY_HEADER, ActKeyed, ApiView, ListView, SignedAct, asked, done_once, found, named_in_body, signed
from shop.canonical import content_sha256
from shop.clock import now
from shop.finding import Refused
from shop.materials import Terminal
from shop.people import Person
from shop.tools import Gauge, Tool

TAGS = ["studies"]

# --- What is asked ---------------------------------------------------------------------------------------------------------------


class StudyIn(ActKeyed):
    kind = serializers.CharField(max_length=40, help_text="A slug of studies/kinds/.")
    title = serializers.CharField(max_length=120, allow_blank=True)
    gauge = serializers.CharField(max_length=60, required=False, default="", allow_blank=True, help_text="Its asset number.")
    tool = serializers.CharField(max_length=60, required=False, default="", allow_blank=True, help_text="Its asset number.")
    terminal = serializers.CharField(max_length=60, required=False, default="", allow_blank=True, help_text="Its part number.")
    characteristic = serializers.CharField(max_length=24, required=False, default="", allow_blank=True)
    set_up = serializers.DictField(
        child=serializers.CharField(max_length=4000, allow_blank=True, trim_whitespace=False),
        help_text="The parameters of the kind by name, as typed; several lines are parted by line ends, a tick is “yes”.",
    )


class StudyValueIn(Asked):
    """A value and where it belongs."""

    place = serializers.CharField(max_length=80, help_text="A place of the layout, such as “A|3|2”.")
    value = FigureIn(help_text="A number in the unit of the place, a word of its choices, or a day as 2026-03-31.")


class StudyValuesIn(ActKeyed):
    values = StudyValueIn(many=True, allow_empty=False)
    reason = serializers.CharField(
        max_length=200, required=False, default="", allow_blank=True, help_text="Needed where a place has another value already."
    )


class StudySignIn(SignedAct):
    conclusion = serializers.CharField(max_length=500, allow_blank=True, help_text="What follows from it.")
    seen_sha256 = serializers.CharField(max_length=64, help_text="content_sha256 of the study as seen.")


class StudyAbandonIn(ActKeyed):
    reason = serializers.CharField(max_length=500, allow_blank=True)


# --- What is shown ---------------------------------------------------------------------------------------------------------------


class StudyChoiceOut(AnySerializer):
    value = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]  # a declared field is no attribute of the class


class StudyParameterOut(AnySerializer):
    """A parameter of a kind: what it is called, its type, what it begins with, and its bounds."""

    name = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]  # a declared field is no attribute of the class
    type = serializers.CharField(help_text="count, number, text, choice, lines or yes.")
    initial = serializers.CharField()
    help = serializers.CharField()
    required = serializers.BooleanField()  # type: ignore[assignment]  # a declared field is no attribute of the class
    least = serializers.CharField(allow_null=True)
    most = serializers.CharField(allow_null=True)
    choices = StudyChoiceOut(many=True)


class StudyKindOut(AnySerializer):
    """A kind of study: the subjects it needs and may have, the characteristics it asks for, its parameters."""

    slug = serializers.CharField()
    name = serializers.CharField()
    about = serializers.CharField()
    needs = serializers.ListField(child=serializers.CharField())
    offers = serializers.ListField(child=serializers.CharField())
    characteristics = serializers.ListField(child=serializers.CharField())
    collects = serializers.BooleanField(help_text="Its values are taken over from production rather than typed.")
    parameters = StudyParameterOut(many=True)


class StudyOut(AnySerializer):
    """A study, in short."""

    number = serializers.CharField()
    kind = serializers.CharField()
    title = serializers.CharField()
    state = Word(StudyState)
    gauge = serializers.CharField(source="gauge.asset_number", allow_null=True, default=None)
    tool = serializers.CharField(source="tool.asset_number", allow_null=True, default=None)
    terminal = serializers.CharField(source="terminal.part_number", allow_null=True, default=None)
    characteristic = serializers.CharField()
    opened_by = serializers.CharField(source="opened_by.username")
    opened_at = serializers.DateTimeField()
    closed_by = serializers.CharField(source="closed_by.username", allow_null=True, default=None)
    closed_at = serializers.DateTimeField(allow_null=True)
    conclusion = serializers.CharField()
    outcome = serializers.CharField(help_text="conforms, does not conform or undecided; empty before it is signed.")


class StudyPlaceOut(AnySerializer):
    """A place of the layout, with the value that stands there; value null where there is none yet."""

    place = serializers.CharField()
    row = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]  # a declared field is no attribute of the class
    unit = serializers.CharField()
    choices = serializers.ListField(child=serializers.CharField())
    is_date = serializers.BooleanField()
    optional = serializers.BooleanField()
    value = serializers.CharField(allow_null=True)
    by = serializers.CharField(allow_null=True)
    at = serializers.DateTimeField(allow_null=True)
    value_source = serializers.CharField(help_text="Where the value was taken over from.")


class StudyAnswerOut(AnySerializer):
    """The answer as the values stand. figures: every figure under its name, as it is signed and printed."""

    outcome = serializers.CharField()
    word = serializers.CharField()
    figures = serializers.DictField()


class StudyWhole(StudyOut):
    """A study with its parameters, its places and its answer: send `content_sha256` back as seen_sha256 to sign it."""

    set_up = serializers.DictField(child=serializers.CharField(allow_blank=True))
    unit = serializers.CharField()
    places = StudyPlaceOut(many=True)
    answer = StudyAnswerOut(allow_null=True)
    why_not = FindingSerializer(many=True, help_text="Why there is no answer yet.")
    content_sha256 = serializers.CharField(help_text="Empty while there is no answer.")


def studies() -> QuerySet[Study]:
    return Study.objects.select_related("gauge", "tool", "terminal", "opened_by", "closed_by")


def kind_shown(kind: StudyKind) -> dict[str, Any]:
    return {
        "slug": kind.slug,
        "name": str(kind.name),
        "about": str(kind.about),
        "needs": sorted(kind.needs),
        "offers": sorted(kind.offers),
        "characteristics": list(kind.characteristics),
        "collects": kind.collect is not None,
        "parameters": [
            {
                "name": p.name,
                "label": str(p.label),
                "type": p.type,
                "initial": p.initial,
                "help": str(p.help),
                "required": p.required,
                "least": None if p.least is None else str(p.least),
                "most": None if p.most is None else str(p.most),
                "choices": [{"value": value, "label": str(label)} for value, label in p.choices],
            }
            for p in kind.parameters
        ],
    }


def study_shown(number: str) -> dict[str, Any]:
    study = studies().get(number=number)
    read = opened(study)
    laid_out = {cell.place: (row.label, cell) for row in read.layout.rows for cell in row.cells}
    shown: dict[str, Any] = dict(StudyOut(study).data)
    shown |= {"set_up": study.set_up, "unit": read.layout.unit, "answer": None, "why_not": [], "content_sha256": ""}
    shown["places"] = []
    for place in read.layout.places or tuple(read.standing):
        row, cell = laid_out.get(place, ("", None))
        value = read.standing.get(place)
        shown["places"].append(
            {
                "place": place,
                "row": row,
                "label": cell.label if cell else "",
                "unit": read.layout.unit if cell is None or cell.unit is None else cell.unit,
                "choices": [word for word, _label in cell.choices] if cell else [],
                "is_date": cell.is_date if cell else False,
                "optional": cell.optional if cell else False,
                "value": value.text if value else None,
                "by": value.by.username if value else None,
                "at": value.at if value else None,
                "value_source": value.source if value else "",
            }
        )
    try:
        analysis = analysis_of(read)
    except Refused as refused:
        shown["why_not"] = [finding_out(finding) for finding in refused.findings]
    else:
        shown["answer"] = {"outcome": analysis.outcome, "word": analysis.word, "figures": dict(analysis.content)}
        shown["content_sha256"] = content_sha256(study_content(read, analysis))
    return shown


# --- Views -----------------------------------------------------------------------------------------------------------------------


class KindsView(ApiView):
    @extend_schema(summary="List the kinds of study", tags=TAGS, responses={200: StudyKindOut(many=True)})
    def get(self, request: Request) -> Response:
        """With the parameters each one asks for."""
        return Response([kind_shown(kind) for kind in KINDS.values()])


class StudiesView(ListView):
    @extend_schema(
        summary="List studies",
        tags=TAGS,
        parameters=[
            OpenApiParameter("state", str, enum=StudyState.values),
            OpenApiParameter("kind", str, description="A slug of studies/kinds/."),
            OpenApiParameter("gauge", str, description="Asset number."),
            OpenApiParameter("tool", str, description="Asset number."),
            OpenApiParameter("terminal", str, description="Part number."),
        ],
        responses={200: StudyOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Newest first."""
        rows = studies().order_by("-opened_at", "-pk")
        columns = {
            "state": "state",
            "kind": "kind",
            "gauge": "gauge__asset_number",
            "tool": "tool__asset_number",
            "terminal": "terminal__part_number",
        }
        for name, column in columns.items():
            value = request.query_params.get(name, "").replace("\0", "")
            rows = rows.filter(**{column: value}) if value else rows
        return self.pages(rows, StudyOut)

    @extend_schema(summary="Open a study", tags=TAGS, parameters=[KEY_HEADER], request=StudyIn, responses={201: StudyWhole})
    def post(self, request: Request) -> Response:
        """With its subject and the parameters of its kind."""
        body = asked(request, StudyIn)
        gauge = named_in_body(Gauge.objects.all(), "gauge", asset_number=body["gauge"]) if body["gauge"] else None
        tool = named_in_body(Tool.objects.all(), "tool", asset_number=body["tool"]) if body["tool"] else None
        terminal = named_in_body(Terminal.objects.all(), "terminal", part_number=body["terminal"]) if body["terminal"] else None
        stated = {name: body[name] for name in ("kind", "title", "characteristic", "set_up")}

        def do(by: Person, at: datetime) -> str:
            return open_study(by=by, at=at, gauge=gauge, tool=tool, terminal=terminal, **stated).number

        return Response(study_shown(done_once(request, "open study", body, do)), status=201)


class StudyView(ApiView):
    @extend_schema(summary="Read a study", tags=TAGS, responses={200: StudyWhole})
    def get(self, request: Request, number: str) -> Response:
        """With its places, the values that stand there, and the answer."""
        return Response(study_shown(found(Study, number=number).number))


class ValuesView(ApiView):
    @extend_schema(
        summary="Record values of a study", tags=TAGS, parameters=[KEY_HEADER], request=StudyValuesIn, responses={200: StudyWhole}
    )
    def post(self, request: Request, number: str) -> Response:
        """All of them or none. A place that has another value already is corrected, which takes a reason."""
        study, body = found(Study, number=number), asked(request, StudyValuesIn)
        values = {placed["place"]: placed["value"] for placed in body["values"]}

        def do(by: Person, at: datetime) -> str:
            record_values(study=study, values=values, by=by, at=at, reason=body["reason"])
            return study.number

        return Response(study_shown(done_once(request, "record study values", body, do)))


class TakeOverView(ApiView):
    @extend_schema(
        summary="Take a study's measurements over", tags=TAGS, parameters=[KEY_HEADER], request=ActKeyed, responses={200: StudyWhole}
    )
    def post(self, request: Request, number: str) -> Response:
        """From production, once: what was taken over stays what is analysed."""
        study, body = found(Study, number=number), asked(request, ActKeyed)

        def do(by: Person, at: datetime) -> str:
            take_over(study=study, by=by, at=at)
            return study.number

        return Response(study_shown(done_once(request, "take study values over", body, do)))


class SignView(ApiView):
    @extend_schema(
        summary="Conclude and sign a study", tags=TAGS, parameters=[KEY_HEADER], request=StudySignIn, responses={200: StudyWhole}
    )
    def post(self, request: Request, number: str) -> Response:
        """By quality, over the values and the answer as seen."""
        study, body = found(Study, number=number), asked(request, StudySignIn)
        signing = signed(request, body["signature"], SIGNED_MEANING, now())

        def do(by: Person, at: datetime) -> str:
            sign_study(study=study, conclusion=body["conclusion"], by=by, at=at, signing=signing, seen_sha256=body["seen_sha256"])
            return study.number

        return Response(study_shown(done_once(request, "sign study", body, do, signing=signing)))


class AbandonView(ApiView):
    @extend_schema(summary="Abandon a study", tags=TAGS, parameters=[KEY_HEADER], request=StudyAbandonIn, responses={200: StudyWhole})
    def post(self, request: Request, number: str) -> Response:
        """Its values stay on record."""
        study, body = found(Study, number=number), asked(request, StudyAbandonIn)

        def do(by: Person, at: datetime) -> str:
            abandon_study(study=study, reason=body["reason"], by=by, at=at)
            return study.number

        return Response(study_shown(done_once(request, "abandon study", body, do)))
