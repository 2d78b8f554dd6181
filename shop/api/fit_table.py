"""The fit matrix: every wire for a terminal, or every terminal for a wire, on every tool, in one answer."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shop.api.fields import AnySerializer
from shop.api.form_bodies import read_by
from shop.api.view import ApiView
from shop.clock import now, shop_day
from shop.finding import Refused, misfit
from shop.fit_matrix import FITS, MISFIT, OPEN
from shop.forms.fit_table import FitTableForm
from shop.matrix import Narrowing, fit_matrix
from shop.people import ToolKind

WORDS = {FITS: "fits", OPEN: "undecidable", MISFIT: "misfit"}


class MatrixRowOut(AnySerializer):
    """One wire or terminal with a verdict for each tool, in the order of `tools`."""

    number = serializers.CharField()
    verdicts = serializers.ListField(child=serializers.ChoiceField(choices=list(WORDS.values())))


class MatrixOut(AnySerializer):
    """of: what was asked about; rows: the other axis, in order of size."""

    of = serializers.CharField()
    number = serializers.CharField()
    tools = serializers.ListField(child=serializers.CharField())
    rows = MatrixRowOut(many=True)


def _query(name: str, description: str, **more: Any) -> OpenApiParameter:
    return OpenApiParameter(name, str, OpenApiParameter.QUERY, description=description, **more)


class FitMatrixView(ApiView):
    @extend_schema(
        summary="Ask for the fit matrix",
        tags=["plan"],
        parameters=[
            _query("of", "What `number` is.", enum=["terminal", "wire"], required=True),
            _query("number", "Part number.", required=True),
            _query("q", "Words, each found in number or description of a row."),
            _query("low", "Conductor area from: 0.5 mm2, AWG 20."),
            _query("high", "Conductor area to."),
            _query("kind", "Kind of tool.", enum=[kind.value for kind in ToolKind if kind != ToolKind.STRIPPER]),
            _query("tools", "all: tools too that do not list it.", enum=["all"]),
            _query("fits", "1: only rows and tools with a fit.", enum=["1"]),
        ],
        responses={200: MatrixOut},
    )
    def get(self, request: Request) -> Response:
        """One wire in the barrel; items in use, tools not retired. Why a cell is as it is, `POST fit/` says."""
        form: Any = read_by(FitTableForm(request.query_params.dict()))
        stated = form.cleaned_data
        item = stated["item"]
        if item is None:
            raise Refused([misfit("data.required", "number")])
        narrowing = Narrowing(
            words=stated.get("q", ""),
            low_mm2=stated.get("low"),
            high_mm2=stated.get("high"),
            tool_kind=stated.get("kind", ""),
            all_tools=stated.get("tools") == "all",
            only_fits=bool(stated.get("fits")),
        )
        matrix = fit_matrix(item, narrowing, shop_day(now()))
        verdicts = [[WORDS[int(code)] for code in row] for row in matrix.codes]
        rows = [{"number": str(one), "verdicts": row} for one, row in zip(matrix.items, verdicts, strict=True)]
        return Response(
            {
                "of": stated["of"],
                "number": item.part_number,
                "tools": [tool.asset_number for tool in matrix.tools],
                "rows": rows,
            }
        )
