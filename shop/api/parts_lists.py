"""Parts lists: taken in, mapped, corrected, made into a setup sheet; each lead with its ends and every misfit in place."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from shop.acts.parts_lists import correct_parts_list, map_parts_list, sheet_from_parts_list, take_parts_list
from shop.api.catalogue import file_in
from shop.api.fields import AnySerializer, Asked, Count, FindingSerializer
from shop.api.problems import finding_out
from shop.api.sheets import TAGS, SheetWhole, whole
from shop.api.view import ApiView, asked, found, person_of
from shop.clock import now, shop_day
from shop.finding import Finding
from shop.jobs import Job
from shop.parts_list import COLUMNS, UNITS
from shop.parts_plan import EndPlan, LeadPlan, plan_parts_list
from shop.rechecks import PartsList


def _findings(findings: Iterable[Finding]) -> list[Any]:
    return [finding_out(finding) for finding in findings]


class EndOut(AnySerializer):
    """One end of a lead: what goes into its barrel, the tool picked, the tools that fit, and what stands in the way."""

    end = serializers.CharField(source="end.end_name")
    lead = serializers.CharField(source="end.lead")
    wires = serializers.ListField(child=serializers.CharField(), source="end.wires")
    terminal = serializers.CharField(source="end.terminal")
    pieces_per_harness = serializers.IntegerField(source="end.quantity")
    tool = serializers.CharField(source="tool.asset_number", allow_null=True, default=None)
    setting = serializers.CharField()
    specification = serializers.CharField(source="specification.number", allow_null=True, default=None)
    fitting = serializers.SerializerMethodField(help_text="Tools that fit.")
    findings = serializers.SerializerMethodField()

    def get_fitting(self, end: EndPlan) -> list[str]:
        return [tool.asset_number for tool in end.fitting]

    @extend_schema_field(FindingSerializer(many=True))
    def get_findings(self, end: EndPlan) -> list[Any]:
        return _findings(end.findings)


class LeadOut(AnySerializer):
    """One line of the list. row: position among the rows, from 0; line: in the file, from 1; texts: our column -> what is read there."""

    row = serializers.IntegerField(source="lead.row")
    line = serializers.IntegerField(source="lead.line")
    texts = serializers.DictField(child=serializers.CharField(), source="lead.texts")
    findings = serializers.SerializerMethodField()
    ends = serializers.SerializerMethodField()

    @extend_schema_field(FindingSerializer(many=True))
    def get_findings(self, lead: LeadPlan) -> list[Any]:
        return _findings(lead.findings)

    @extend_schema_field(EndOut(many=True))
    def get_ends(self, lead: LeadPlan) -> Any:
        return EndOut(list(lead.ends.values()), many=True).data


class PartsListOut(AnySerializer):
    """A parts list as it stands. mapping: our column -> position in the file; broken: leads that something stands in the way of."""

    id = serializers.IntegerField()
    job = serializers.CharField()
    file_name = serializers.CharField()
    sha256 = serializers.CharField()
    header = serializers.ListField(child=serializers.CharField())
    mapping = serializers.DictField(child=serializers.IntegerField())
    length_unit = serializers.CharField(help_text="Of lengths without one; empty where every cell states its own.")
    corrections = serializers.DictField(child=serializers.CharField(), help_text="row/column -> the text that stands in for the file's.")
    sheet = serializers.IntegerField(allow_null=True, help_text="The setup sheet made of it.")
    broken = serializers.IntegerField()
    leads = LeadOut(many=True)


class PartsListFileIn(AnySerializer):
    """CSV in UTF-8 or XLSX: a line of column names, then a line per lead."""

    file = serializers.FileField()


class MappingIn(Asked):
    mapping = serializers.DictField(
        child=serializers.IntegerField(min_value=0, max_value=59), help_text=f"Our column -> position from 0: {', '.join(COLUMNS)}."
    )
    length_unit = serializers.ChoiceField(choices=[*UNITS, ""], required=False, default="")


class CorrectionIn(Asked):
    row = Count()
    changes = serializers.DictField(child=serializers.CharField(max_length=400, allow_blank=True), help_text="Our column -> text.")
    everywhere = serializers.BooleanField(required=False, default=False, help_text="In every row that reads the same there.")


def shown(parts: PartsList) -> Any:
    plan = plan_parts_list(parts, shop_day(now()))
    mapping = {name: position for name, position in parts.mapping.items() if isinstance(position, int)}
    return PartsListOut(
        {
            "id": parts.pk,
            "job": parts.job.number,
            "file_name": parts.file_name,
            "sha256": parts.sha256,
            "header": parts.header,
            "mapping": mapping,
            "length_unit": str(parts.mapping.get("length_unit", "")),
            "corrections": parts.corrections,
            "sheet": parts.sheet_id,
            "broken": len(plan.broken),
            "leads": plan.leads,
        }
    ).data


def _parts(pk: int) -> PartsList:
    return found(PartsList.objects.select_related("job", "sheet"), pk=pk)


class PartsListsView(ApiView):
    parser_classes = [MultiPartParser]

    @extend_schema(
        summary="Take in a parts list",
        tags=TAGS,
        request={"multipart/form-data": PartsListFileIn},
        responses={201: PartsListOut},
    )
    def post(self, request: Request, pk: int) -> Response:
        """Its columns are guessed from their names; say otherwise with a mapping. Nothing is planned yet."""
        job, (name, data) = found(Job, pk=pk), file_in(request)
        parts = take_parts_list(job=job, file_name=name, data=data, by=person_of(request), at=now())
        return Response(shown(_parts(parts.pk)), status=201)


class PartsListView(ApiView):
    @extend_schema(summary="Read a parts list", tags=TAGS, responses={200: PartsListOut})
    def get(self, request: Request, pk: int) -> Response:
        """Every lead held against the catalogue as it is now."""
        return Response(shown(_parts(pk)))


class MappingView(ApiView):
    @extend_schema(summary="Say what the columns of a parts list mean", tags=TAGS, request=MappingIn, responses={200: PartsListOut})
    def put(self, request: Request, pk: int) -> Response:
        """Stated as a whole."""
        parts, body = _parts(pk), asked(request, MappingIn)
        map_parts_list(parts=parts, by=person_of(request), at=now(), mapping=body["mapping"], length_unit=body["length_unit"])
        return Response(shown(_parts(pk)))


class CorrectionView(ApiView):
    @extend_schema(summary="Correct cells of a parts list", tags=TAGS, request=CorrectionIn, responses={200: PartsListOut})
    def post(self, request: Request, pk: int) -> Response:
        """The file's own texts stay readable beside the corrections. tool_a and tool_b pick the tool of an end."""
        parts, body = _parts(pk), asked(request, CorrectionIn)
        correct_parts_list(parts=parts, by=person_of(request), at=now(), **body)
        return Response(shown(_parts(pk)))


class PartsSheetView(ApiView):
    @extend_schema(summary="Make the setup sheet of a parts list", tags=TAGS, request=None, responses={201: SheetWhole})
    def post(self, request: Request, pk: int) -> Response:
        """All terminations in one draft, or none: refused while something stands in the way of any lead."""
        sheet = sheet_from_parts_list(parts=_parts(pk), by=person_of(request), at=now())
        return Response(whole(sheet.pk), status=201)
