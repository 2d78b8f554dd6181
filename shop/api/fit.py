"""The fit engine asked directly: do these wires and this terminal go together, and on which tools."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import TextChoices
from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shop.api.fields import AnySerializer, FigureOut, FindingSerializer, Word
from shop.api.form_bodies import body_of
from shop.api.problems import finding_out
from shop.api.sheets import form_values, read_with_wires, wires_in
from shop.api.view import ApiView
from shop.clock import now, shop_day
from shop.conductor import combined_csa_mm2
from shop.facts import advice_on
from shop.fit import CircuitFacts
from shop.forms.termination import WIRES, TerminationForm
from shop.materials import Terminal, Wire
from shop.planning import PressOffer, ToolOffer, plan_for, press_offers, tool_offers
from shop.press_fit import TOOLS_FOR_A_PRESS
from shop.specifications import CrimpSpecification


class FitForm(forms.Form):
    """Those fields of a planned termination that the engine asks about."""

    wire_1, wire_2, wire_3, wire_4 = (TerminationForm.base_fields[name] for name in WIRES)
    terminal = TerminationForm.base_fields["terminal"]
    tool = TerminationForm.base_fields["tool"]
    press = TerminationForm.base_fields["press"]
    dipped_end = TerminationForm.base_fields["dipped_end"]
    required_temperature_c = TerminationForm.base_fields["required_temperature_c"]
    required_voltage_v = TerminationForm.base_fields["required_voltage_v"]
    required_current_a = TerminationForm.base_fields["required_current_a"]


FitIn = body_of(FitForm, "FitIn", required=("terminal",), without=WIRES, wires=wires_in())


class OfferOut(AnySerializer):
    """A tool held against wires and terminal."""

    asset_number = serializers.CharField(source="tool.asset_number")
    kind = serializers.CharField(source="tool.kind")
    state = serializers.CharField(source="tool.state", help_text="As of today; the plan does not judge it, the press will.")
    setting = serializers.CharField(help_text="Of the approved row that fits.")
    findings = serializers.SerializerMethodField(help_text="Of the row that fits, or of the one that comes nearest.")

    @extend_schema_field(FindingSerializer(many=True))
    def get_findings(self, offer: ToolOffer) -> list[Any]:
        return [finding_out(finding) for finding in offer.findings]


class PressOfferOut(AnySerializer):
    """A press held against the tool and the terminal."""

    asset_number = serializers.CharField(source="press.asset_number")
    kind = serializers.CharField(source="press.kind")
    state = serializers.CharField(source="press.state", help_text="As of today; the plan does not judge it, the press will.")
    findings = serializers.SerializerMethodField()

    @extend_schema_field(FindingSerializer(many=True))
    def get_findings(self, offer: PressOffer) -> list[Any]:
        return [finding_out(finding) for finding in offer.findings]


class TargetsOut(AnySerializer):
    """The targets of a crimp specification."""

    specification = serializers.CharField(source="number")
    revision = serializers.CharField()
    document = serializers.CharField()
    crimp_height_min_mm = FigureOut(allow_null=True)
    crimp_height_nominal_mm = FigureOut(allow_null=True)
    crimp_height_max_mm = FigureOut(allow_null=True)
    crimp_width_min_mm = FigureOut(allow_null=True)
    crimp_width_nominal_mm = FigureOut(allow_null=True)
    crimp_width_max_mm = FigureOut(allow_null=True)
    insulation_height_min_mm = FigureOut(allow_null=True)
    insulation_height_nominal_mm = FigureOut(allow_null=True)
    insulation_height_max_mm = FigureOut(allow_null=True)
    strip_length_min_mm = FigureOut(allow_null=True)
    strip_length_nominal_mm = FigureOut(allow_null=True)
    strip_length_max_mm = FigureOut(allow_null=True)
    bell_mouth_min_mm = FigureOut(allow_null=True)
    bell_mouth_max_mm = FigureOut(allow_null=True)
    brush_min_mm = FigureOut(allow_null=True)
    brush_max_mm = FigureOut(allow_null=True)
    cut_off_tab_max_mm = FigureOut(allow_null=True)
    resistance_max_mohm = FigureOut(allow_null=True)
    compaction_min_pct = FigureOut(allow_null=True)
    compaction_max_pct = FigureOut(allow_null=True)
    pull_force_min_n = FigureOut(allow_null=True)
    pull_force_source = serializers.CharField()


class CurrentStanding(TextChoices):
    """A current beside the rating on record (`shop.current.Standing`)."""

    WITHIN = "within"
    ABOVE = "above"
    NOT_STATED = "not stated"


class WireCurrentOut(AnySerializer):
    """A wire with the whole current in it, at its temperature rating. Figures are nominal, of three significant figures."""

    wire = serializers.CharField(source="carrier.part_number")
    standing = Word(CurrentStanding)
    rating_a = FigureOut(source="carrier.rating_a", allow_null=True)
    source = serializers.CharField(source="carrier.source")  # type: ignore[assignment]  # a declared field is no attribute of the class
    density_a_mm2 = FigureOut()
    drop_mv_m = FigureOut(allow_null=True)
    heat_w_m = FigureOut(allow_null=True)
    temperature_c = FigureOut()


class CurrentOut(AnySerializer):
    """What the current does. The applicable wiring code and a licensed person decide; nothing is refused because of it."""

    asked_a = FigureOut()
    standing = Word(CurrentStanding)
    wires = WireCurrentOut(many=True)
    terminal_standing = Word(CurrentStanding)


class FitOut(AnySerializer):
    """The engine's answer."""

    fits = serializers.BooleanField(help_text="Some tool fits, and nothing about wires, terminal and documents stands in the way.")
    csa_mm2 = serializers.CharField(help_text="Conductor area in the barrel, in mm².")
    tool = serializers.CharField(allow_null=True, help_text="The tool asked about, or the only one that fits.")
    findings = FindingSerializer(many=True, help_text="Of wires, terminal, that tool, and specification.")
    tools = OfferOut(many=True, help_text="Tools that fit.")
    other_tools = OfferOut(many=True, help_text="Tools that do not, each with the reasons.")
    presses = PressOfferOut(many=True, help_text="Presses that take the tool, where it is one for a press.")
    other_presses = PressOfferOut(many=True, help_text="Presses that do not, each with the reasons.")
    targets = TargetsOut(allow_null=True, help_text="Of the specification in force, where one covers the combination.")
    current = CurrentOut(allow_null=True, help_text="Advice only; null where no current is asked.")


def _current(current_a: Decimal | None, wires: list[Wire], terminal: Terminal) -> Any:
    return None if current_a is None else CurrentOut(advice_on(current_a, wires, terminal)).data


class FitView(ApiView):
    @extend_schema(summary="Ask what fits", tags=["plan"], request=FitIn, responses={200: FitOut})
    def post(self, request: Request) -> Response:
        """Nothing is written. A misfit is an answer here, not an error."""
        form: Any = read_with_wires(FitForm(form_values(request, FitIn)))
        stated = form.cleaned_data
        wires, terminal = [stated[name] for name in WIRES if stated[name] is not None], stated["terminal"]
        on = shop_day(now())
        fitting, others = tool_offers(wires, terminal, on)
        tool = stated["tool"] or (fitting[0].tool if len(fitting) == 1 else None)
        circuit = CircuitFacts(stated["required_temperature_c"], stated["required_voltage_v"])
        plan = plan_for(wires, terminal, tool, on, circuit, press=stated["press"], dipped_end=stated["dipped_end"])
        for_a_press = tool is not None and tool.kind in TOOLS_FOR_A_PRESS
        presses, other_presses = press_offers(tool, terminal, on) if tool and for_a_press else ([], [])
        specification = CrimpSpecification.objects.select_related("document").filter(pk=plan.specification_id or 0).first()
        return Response(
            {
                "fits": bool(fitting) and not plan.blocking,
                "csa_mm2": str(combined_csa_mm2([wire.csa_mm2 for wire in wires])),
                "tool": tool.asset_number if tool else None,
                "findings": [finding_out(finding) for finding in plan.findings],
                "tools": OfferOut(fitting, many=True).data,
                "other_tools": OfferOut(others, many=True).data,
                "presses": PressOfferOut(presses, many=True).data,
                "other_presses": PressOfferOut(other_presses, many=True).data,
                "targets": TargetsOut(specification).data if specification else None,
                "current": _current(stated["required_current_a"], wires, terminal),
            }
        )
