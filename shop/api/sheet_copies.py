"""What stands beside the path of a sheet: copied to another job, arranged by set-ups, commented on, compared with another revision."""

from __future__ import annotations

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shop.acts.sheets import arrange_sheet, comment_on_sheet, copy_sheet
from shop.api.fields import AnySerializer, Asked
from shop.api.sheets import TAGS, SheetIn, SheetWhole, whole
from shop.api.view import ApiView, asked, found, named_in_body, person_of
from shop.clock import now
from shop.jobs import Job, SetupSheet
from shop.sheet_changes import changes
from shop.sheet_content import sheet_content


class TextIn(Asked):
    text = serializers.CharField(max_length=500, allow_blank=True)


class ChangeOut(AnySerializer):
    """One difference. termination: lead and end, empty for the sheet itself; field: dotted, as in the content; values in words."""

    kind = serializers.ChoiceField(choices=["added", "removed", "changed"])
    termination = serializers.CharField()
    field = serializers.CharField()
    old = serializers.CharField()
    new = serializers.CharField()


class ChangesOut(AnySerializer):
    old = serializers.IntegerField(allow_null=True, help_text="The id of the revision compared with; null for a first revision.")
    changes = ChangeOut(many=True)


class CopyView(ApiView):
    @extend_schema(summary="Copy a sheet to another job", tags=TAGS, request=SheetIn, responses={201: SheetWhole})
    def post(self, request: Request, pk: int) -> Response:
        """A draft with the same terminations, pieces for that job's harnesses, targets of the specifications in force now."""
        sheet = found(SetupSheet.objects.select_related("job"), pk=pk)
        job = named_in_body(Job.objects.all(), "job", number=asked(request, SheetIn)["job"])
        return Response(whole(copy_sheet(sheet=sheet, job=job, by=person_of(request), at=now()).pk), status=201)


class ArrangeView(ApiView):
    @extend_schema(summary="Arrange a draft by set-ups", tags=TAGS, request=None, responses={200: SheetWhole})
    def post(self, request: Request, pk: int) -> Response:
        """Terminations that share a set-up stand together, so that each tool is set once."""
        arrange_sheet(sheet=found(SetupSheet.objects.all(), pk=pk), by=person_of(request), at=now())
        return Response(whole(pk))


class CommentView(ApiView):
    @extend_schema(summary="Comment on a sheet", tags=TAGS, request=TextIn, responses={200: SheetWhole})
    def post(self, request: Request, pk: int) -> Response:
        """A sheet that is drafted or in review stays what it is."""
        sheet = found(SetupSheet.objects.all(), pk=pk)
        comment_on_sheet(sheet=sheet, text=asked(request, TextIn)["text"], by=person_of(request), at=now())
        return Response(whole(pk))


class ChangesView(ApiView):
    @extend_schema(
        summary="Compare a sheet with another revision",
        tags=TAGS,
        parameters=[OpenApiParameter("from", int, description="The id of the other revision; without it, the revision before.")],
        responses={200: ChangesOut},
    )
    def get(self, request: Request, pk: int) -> Response:
        """What this revision says otherwise than the other one, with units."""
        new = found(SetupSheet.objects.select_related("job__customer", "author"), pk=pk)
        others = SetupSheet.objects.filter(number=new.number).exclude(pk=pk).select_related("job__customer", "author")
        asked_for = request.query_params.get("from", "")
        if asked_for:
            key = int(asked_for) if asked_for.isascii() and asked_for.isdigit() and len(asked_for) < 16 else 0
            old: SetupSheet | None = found(others, pk=key)
        else:
            old = others.filter(revision__lt=new.revision).order_by("-revision").first()
        differ = changes(sheet_content(old), sheet_content(new)) if old else []
        return Response(ChangesOut({"old": old.pk if old else None, "changes": differ}).data)
