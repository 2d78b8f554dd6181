"""Control charts: a stream's data and signals, limits put in force and ended, reactions. Every write carries a key."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inspection.acts.control import (
    ENDED_MEANING,
    FROZEN_MEANING,
    RULES,
    Proposal,
    answer_signals,
    end_limits,
    freeze_limits,
    propose_limits,
)
from inspection.control import ChartSignal, ControlLimits, ReactionCause
from inspection.process.chart import Panel
from inspection.stream_view import Shown, StreamView, asked, stream_asked, stream_view
from inspection.streams import KIND_OF, Stream
from shop.api.fields import AnySerializer, Asked, FindingSerializer, Word
from shop.api.problems import finding_out
from shop.api.view import (
    KEY_HEADER,
    ActKeyed,
    ApiView,
    ListView,
    SignedAct,
    done_once,
    found,
    person_of,
    signed,
)
from shop.api.view import asked as asked_of_body
from shop.canonical import content_sha256
from shop.characteristics import Characteristic
from shop.clock import now
from shop.finding import Refused, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, may, permission_findings

TAGS = ["studies"]

# --- What is asked ---------------------------------------------------------------------------------------------------------------


class StreamIn(Asked):
    """A stream: what one tool makes of one terminal on one conductor area, or of everything (terminal empty)."""

    tool = serializers.CharField(max_length=60, help_text="Its asset number.")
    terminal = serializers.CharField(max_length=60, required=False, default="", allow_blank=True, help_text="Its part number.")
    csa_mm2 = serializers.CharField(max_length=20, required=False, default="", allow_blank=True, help_text="With a terminal.")
    characteristic = serializers.CharField(max_length=24)


class FreezeIn(SignedAct, StreamIn):
    chart = serializers.CharField(max_length=20, help_text="A kind of chart.")
    rules = serializers.ListField(
        child=serializers.CharField(max_length=20), required=False, default=list, help_text="Codes of run rules; none: the usual four."
    )
    since = serializers.DateTimeField(required=False, allow_null=True, default=None, help_text="Samples taken after it.")
    until = serializers.DateTimeField(required=False, allow_null=True, default=None, help_text="Samples taken up to it.")
    reason = serializers.CharField(max_length=300, allow_blank=True)
    seen_sha256 = serializers.CharField(max_length=64, help_text="proposal_sha256 of the chart, with the same rules and span.")


class EndIn(SignedAct):
    reason = serializers.CharField(max_length=300, allow_blank=True)


class ReactionIn(ActKeyed):
    signals = serializers.ListField(
        child=serializers.IntegerField(min_value=1, max_value=2**62), allow_empty=False, max_length=200, help_text="Ids, of one batch."
    )
    cause = Word(ReactionCause, max_length=30)
    text = serializers.CharField(max_length=300, allow_blank=True, help_text="What was found and done.")


# --- What is shown ---------------------------------------------------------------------------------------------------------------


class LimitsOut(AnySerializer):
    """Control limits of one chart. limits: the numbers as text, every digit; ended_at null while they are in force."""

    id = serializers.IntegerField()
    tool = serializers.CharField(source="tool.asset_number")
    terminal = serializers.CharField(source="terminal.part_number", allow_null=True, default=None)
    csa_mm2 = serializers.CharField(allow_null=True)
    characteristic = serializers.CharField()
    chart = serializers.CharField()
    limits = serializers.DictField()
    rules = serializers.ListField(child=serializers.CharField())
    basis = serializers.DictField()
    reason = serializers.CharField()
    frozen_by = serializers.CharField(source="frozen_by.username")
    frozen_at = serializers.DateTimeField()
    ended_at = serializers.DateTimeField(allow_null=True)
    ended_because = serializers.CharField()


class ChartSampleOut(AnySerializer):
    batch = serializers.CharField()
    number = serializers.IntegerField()
    kind = serializers.CharField()
    taken_at = serializers.DateTimeField()
    at_count = serializers.IntegerField()
    set_up = serializers.IntegerField()
    part = serializers.CharField()
    values = serializers.ListField(child=serializers.CharField(), help_text="As typed.")


class PanelOut(AnySerializer):
    """Points of one panel and its lines, as many of each. samples: of each point, its place in the list of samples, from 0."""

    name = serializers.CharField()
    place = serializers.CharField()
    samples = serializers.ListField(child=serializers.IntegerField())
    points = serializers.ListField(child=serializers.FloatField())
    center = serializers.ListField(child=serializers.FloatField())
    low = serializers.ListField(child=serializers.FloatField(), allow_null=True)
    high = serializers.ListField(child=serializers.FloatField(), allow_null=True)


class SignalOut(AnySerializer):
    """id: of a recorded signal, null where limits are provisional and nothing was recorded. answered: whether a reaction is."""

    id = serializers.IntegerField(allow_null=True)
    sample = serializers.CharField()
    taken_at = serializers.DateTimeField()
    panel = serializers.IntegerField()
    point = serializers.IntegerField()
    rule = serializers.CharField()
    answered = serializers.BooleanField(allow_null=True)


class ChartOut(AnySerializer):
    """frozen: whether the chart stands on limits in force, else they are computed from these samples. proposal_sha256: what a signature
    that freezes limits with this chart, these rules and this span refers to; empty where they cannot be frozen."""

    tool = serializers.CharField()
    terminal = serializers.CharField(allow_null=True)
    csa_mm2 = serializers.CharField(allow_null=True)
    characteristic = serializers.CharField()
    unit = serializers.CharField()
    chart = serializers.CharField()
    frozen = serializers.BooleanField()
    limits_in_force = LimitsOut(allow_null=True)
    rules = serializers.ListField(child=serializers.CharField())
    samples = ChartSampleOut(many=True)
    panels = PanelOut(many=True)
    signals = SignalOut(many=True)
    findings = FindingSerializer(many=True)
    proposal_sha256 = serializers.CharField()


class ReactionOut(AnySerializer):
    id = serializers.IntegerField()
    signal = serializers.IntegerField(source="signal_id")
    cause = serializers.CharField()
    text = serializers.CharField()
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()


class ReactionsOut(AnySerializer):
    reactions = ReactionOut(many=True)


# --- Views -----------------------------------------------------------------------------------------------------------------------


class ChartView(ApiView):
    @extend_schema(
        summary="Read a control chart",
        tags=TAGS,
        parameters=[
            OpenApiParameter("tool", str, required=True, description="Its asset number."),
            OpenApiParameter("terminal", str, description="Its part number; left out, the short-run chart of the whole tool."),
            OpenApiParameter("csa", str, description="Conductor area in mm², with a terminal."),
            OpenApiParameter("characteristic", str, enum=Characteristic.values, description="Left out: crimp height."),
            OpenApiParameter("chart", str, enum=list(KIND_OF), description="Left out: that of the limits in force, or of the plan."),
            OpenApiParameter("rule", str, many=True, enum=list(RULES), description="Run rules on provisional limits."),
            OpenApiParameter("last", int, description="Newest samples, at most 5000."),
            OpenApiParameter("since", str, description="A day or a moment."),
            OpenApiParameter("until", str, description="A day or a moment."),
            OpenApiParameter("batch", str, description="Samples of this batch only."),
        ],
        responses={200: ChartOut},
    )
    def get(self, request: Request) -> Response:
        """Samples, panels with their lines, and signals of one stream."""
        ask = asked(request.query_params)
        if ask is None:
            raise Refused([misfit("control.stream", "tool")])
        return Response(chart_shown(stream_view(ask)))


class LimitsView(ListView):
    @extend_schema(
        summary="List control limits",
        tags=TAGS,
        parameters=[OpenApiParameter("in_force", bool, description="true: only those that are.")],
        responses={200: LimitsOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Newest first."""
        rows = ControlLimits.objects.select_related("tool", "terminal", "frozen_by").order_by("-frozen_at", "-pk")
        if request.query_params.get("in_force", "") in ("1", "true"):
            rows = rows.filter(ended_at__isnull=True)
        return self.pages(rows, LimitsOut)

    @extend_schema(summary="Freeze control limits", tags=TAGS, parameters=[KEY_HEADER], request=FreezeIn, responses={201: LimitsOut})
    def post(self, request: Request) -> Response:
        """Signed by quality, over the limits, the rules and the samples they come from."""
        body = asked_of_body(request, FreezeIn)
        refuse_if(permission_findings(person_of(request), Deed.FREEZE_LIMITS))
        stream = _stream_of(body)
        signing = signed(request, body["signature"], FROZEN_MEANING, now())

        def do(by: Person, at: datetime) -> int:
            proposal = propose_limits(stream, body["chart"], body["rules"], since=body["since"], until=body["until"])
            given = {"reason": body["reason"], "seen_sha256": body["seen_sha256"]}
            return freeze_limits(proposal=proposal, by=by, at=at, signing=signing, **given).pk

        return Response(_limits(int(done_once(request, "freeze limits", body, do, signing=signing))), status=201)


class EndLimitsView(ApiView):
    @extend_schema(summary="End control limits", tags=TAGS, parameters=[KEY_HEADER], request=EndIn, responses={200: LimitsOut})
    def post(self, request: Request, pk: int) -> Response:
        """Signed by quality, with the reason. What they signalled stays on record."""
        limits, body = found(ControlLimits, pk=pk), asked_of_body(request, EndIn)
        signing = signed(request, body["signature"], ENDED_MEANING, now())

        def do(by: Person, at: datetime) -> int:
            return end_limits(limits=limits, reason=body["reason"], by=by, at=at, signing=signing).pk

        return Response(_limits(int(done_once(request, "end limits", body, do, signing=signing))))


class ReactionsView(ApiView):
    @extend_schema(summary="Answer signals", tags=TAGS, parameters=[KEY_HEADER], request=ReactionIn, responses={201: ReactionsOut})
    def post(self, request: Request) -> Response:
        """What was found and done about signals of one batch: one answer for all that have one cause."""
        body, person = asked_of_body(request, ReactionIn), person_of(request)
        refuse_if([] if may(person, Deed.COUNTERSIGN) else permission_findings(person, Deed.RUN_BATCH))
        signals = list(ChartSignal.objects.filter(pk__in=body["signals"]))
        if len(signals) < len(set(body["signals"])) or len({signal.batch_id for signal in signals}) > 1:
            raise Refused([misfit("control.signals", "signals")])

        def do(by: Person, at: datetime) -> str:
            made = answer_signals(signals=signals, cause=body["cause"], text=body["text"], by=by, at=at)
            return ",".join(str(one.signal_id) for one in made)

        keys = [int(key) for key in done_once(request, "answer signals", body, do).split(",")]
        rows = [signal.reaction for signal in ChartSignal.objects.filter(pk__in=keys).select_related("reaction__by").order_by("pk")]
        return Response(ReactionsOut({"reactions": rows}).data, status=201)


def _stream_of(body: dict[str, Any]) -> Stream:
    named = {"tool": body["tool"], "terminal": body["terminal"], "csa": body["csa_mm2"], "characteristic": body["characteristic"]}
    stream = stream_asked(named)
    if stream is None:
        raise Refused([misfit("control.stream", "tool")])
    return stream


def _limits(pk: int) -> Any:
    rows = ControlLimits.objects.select_related("tool", "terminal", "frozen_by")
    serializer: type[AnySerializer] = LimitsOut
    return serializer(found(rows, pk=pk)).data


def chart_shown(view: StreamView) -> dict[str, Any]:
    """A stream as `ChartOut` has it."""
    stream, drawn = view.stream, view.drawn
    proposal = _proposal(view)
    return {
        "tool": stream.tool.asset_number,
        "terminal": stream.terminal.part_number if stream.terminal else None,
        "csa_mm2": None if stream.csa_mm2 is None else f"{stream.csa_mm2.normalize():f}",
        "characteristic": stream.characteristic,
        "unit": stream.unit,
        "chart": view.kind,
        "frozen": view.frozen,
        "limits_in_force": LimitsOut(view.limits).data if view.limits else None,
        "rules": [rule.code for rule in view.rules],
        "samples": [
            {
                "batch": sample.batch,
                "number": sample.number,
                "kind": sample.kind,
                "taken_at": sample.at,
                "at_count": sample.at_count,
                "set_up": sample.setup_number,
                "part": sample.part,
                "values": [one.text for one in sample.values],
            }
            for sample in view.samples
        ],
        "panels": [_panel(panel, drawn.places) for panel in drawn.chart.panels] if drawn else [],
        "signals": [_signal(signal) for signal in view.signals],
        "findings": [finding_out(view.why_not)] if view.why_not else [],
        "proposal_sha256": content_sha256(proposal.content) if proposal else "",
    }


def _proposal(view: StreamView) -> Proposal | None:
    """What could be frozen: the same stream, chart, rules and span; None where limits are in force, or the samples do not carry any."""
    ask = view.asked
    if view.limits is not None or ask.batch is not None:
        return None
    try:
        return propose_limits(view.stream, view.kind, ask.rules, since=ask.since, until=ask.until)
    except Refused:
        return None


def _panel(panel: Panel, places: tuple[int, ...]) -> dict[str, Any]:
    return {
        "name": panel.name,
        "place": str(panel.place),
        "samples": [places[place] for place in panel.samples.tolist()],
        "points": panel.points.tolist(),
        "center": panel.center.tolist(),
        "low": panel.low.tolist() if panel.low is not None and panel.has_low else None,
        "high": panel.high.tolist() if panel.high is not None else None,
    }


def _signal(signal: Shown) -> dict[str, Any]:
    row = signal.recorded
    return {
        "id": row.pk if row else None,
        "sample": signal.sample,
        "taken_at": signal.at,
        "panel": signal.panel,
        "point": signal.point,
        "rule": signal.code,
        "answered": None if row is None else getattr(row, "reaction", None) is not None,
    }
