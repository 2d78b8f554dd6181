"""Setup sheets: drafted, filled with terminations, submitted, returned, released, revised, withdrawn."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.forms import BaseForm
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shop.acts.sheets import (
    RELEASED_MEANING,
    WITHDRAWN_MEANING,
    draft_sheet,
    plan_termination,
    release_sheet,
    remove_termination,
    return_sheet,
    revise_sheet,
    submit_sheet,
    withdraw_sheet,
)
from shop.api.fields import AnySerializer, Asked, FindingSerializer, Shape, SignatureIn, Word
from shop.api.form_bodies import body_of, read_by, written
from shop.api.problems import finding_out
from shop.api.shapes import SheetShape
from shop.api.view import ApiView, ListView, asked, found, named_in_body, person_of, signed
from shop.canonical import content_sha256
from shop.clock import now, shop_day
from shop.finding import Finding, Refused
from shop.forms.item import text_of
from shop.forms.termination import PLAN, WIRES, TerminationForm
from shop.jobs import Job, SetupSheet, SheetStatus, Termination
from shop.planning import TerminationCheck, sheet_checks
from shop.queries import sheets_for
from shop.sheet_content import sheet_content

TAGS = ["plan"]

# --- What a sheet looks like -----------------------------------------------------------------------------------------------------


class SheetOut(AnySerializer):
    """One revision of a setup sheet."""

    id = serializers.IntegerField()
    number = serializers.CharField()
    revision = serializers.IntegerField()
    status = Word(SheetStatus)
    job = serializers.CharField(source="job.number")
    author = serializers.CharField(source="author.username")
    drafted_at = serializers.DateTimeField()
    submitted_at = serializers.DateTimeField(allow_null=True)
    released_at = serializers.DateTimeField(allow_null=True)
    released_by = serializers.CharField(source="released_by.username", allow_null=True, default=None)
    change_reason = serializers.CharField()
    supersedes = serializers.IntegerField(source="supersedes_id", allow_null=True)


class TerminationOut(AnySerializer):
    """A termination of the sheet and what the fit engine says about it today. Its content stands in the sheet's content."""

    id = serializers.IntegerField(source="termination.pk")
    position = serializers.IntegerField(source="termination.position")
    lead = serializers.CharField(source="termination.lead")
    end = serializers.CharField(source="termination.end")
    fits = serializers.SerializerMethodField()
    findings = serializers.SerializerMethodField()

    def get_fits(self, check: TerminationCheck) -> bool:
        return not check.blocking

    @extend_schema_field(FindingSerializer(many=True))
    def get_findings(self, check: TerminationCheck) -> list[Any]:
        return [finding_out(finding) for finding in check.findings]


class CommentOut(AnySerializer):
    by = serializers.CharField(source="by.username")
    at = serializers.DateTimeField()
    text = serializers.CharField()


class SheetWhole(SheetOut):
    """A sheet with everything it says. A release signs `content`; its `content_sha256` is sent back as seen_sha256."""

    content = Shape(SheetShape)
    content_sha256 = serializers.CharField()
    terminations = TerminationOut(many=True)
    comments = CommentOut(many=True)


def _rows() -> QuerySet[SetupSheet]:
    return SetupSheet.objects.select_related("job__customer", "author", "released_by")


def whole(sheet_pk: int) -> Any:
    sheet: Any = found(_rows(), pk=sheet_pk)
    content = sheet_content(sheet)
    checks = sheet_checks(sheet, shop_day(now()))
    shown: dict[str, Any] = dict(SheetOut(sheet).data)
    shown |= {"content": SheetWhole().fields["content"].to_representation(content), "content_sha256": content_sha256(content)}
    shown["terminations"] = TerminationOut(checks, many=True).data
    shown["comments"] = CommentOut(sheet.comments.select_related("by"), many=True).data
    return shown


# --- What is asked ---------------------------------------------------------------------------------------------------------------


class SheetIn(Asked):
    job = serializers.CharField(max_length=60, help_text="The job's number.")


def wires_in() -> serializers.ListField:
    """The form has a field for each wire, a body a list of them."""
    return serializers.ListField(
        child=serializers.CharField(max_length=60), max_length=len(WIRES), help_text="Part numbers of the wires in the barrel, in order."
    )


TerminationIn = body_of(
    TerminationForm,
    "TerminationIn",
    required=("lead", "end", "quantity", "terminal"),
    without=WIRES,
    about="What a planner states about one end of a lead; the plan has defaults, and targets come from the specification in force.",
    wires=wires_in(),
)


class CommentIn(Asked):
    comment = serializers.CharField(max_length=500, allow_blank=True)


class ReasonIn(Asked):
    reason = serializers.CharField(max_length=300, allow_blank=True)


class ReleaseIn(Asked):
    signature = SignatureIn()
    seen_sha256 = serializers.CharField(max_length=64, help_text="content_sha256 of what was reviewed.")


class WithdrawIn(Asked):
    signature = SignatureIn()
    reason = serializers.CharField(max_length=300, allow_blank=True)


# --- Views -----------------------------------------------------------------------------------------------------------------------


class SheetsView(ListView):
    @extend_schema(
        summary="List setup sheets",
        tags=TAGS,
        parameters=[
            OpenApiParameter("search", str, description="Words, each found in the number of sheet, job or part."),
            OpenApiParameter("status", str, enum=SheetStatus.values),
            OpenApiParameter("author", str, description="User name."),
        ],
        responses={200: SheetOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Every revision, newest first."""
        words, status, author = (request.query_params.get(name, "").replace("\0", "") for name in ("search", "status", "author"))
        return self.pages(sheets_for(words, status, author), SheetOut)

    @extend_schema(summary="Draft a setup sheet", tags=TAGS, request=SheetIn, responses={201: SheetWhole})
    def post(self, request: Request) -> Response:
        """The first revision of a new sheet for a job; further revisions come from revise."""
        job = named_in_body(Job.objects.all(), "job", number=asked(request, SheetIn)["job"])
        return Response(whole(draft_sheet(job=job, by=person_of(request), at=now()).pk), status=201)


class SheetView(ApiView):
    @extend_schema(summary="Read a setup sheet", tags=TAGS, responses={200: SheetWhole})
    def get(self, request: Request, pk: int) -> Response:
        """With its content, the hash of it, and the findings of every termination as of today."""
        return Response(whole(pk))


class TerminationsView(ApiView):
    @extend_schema(summary="Plan a termination", tags=TAGS, request=TerminationIn, responses={201: SheetWhole})
    def post(self, request: Request, pk: int) -> Response:
        """Into a draft. A misfit is refused with every rule it breaks; the tool may stay open until submission."""
        return Response(_plan(request, found(_rows(), pk=pk), None), status=201)


class TerminationView(ApiView):
    @extend_schema(summary="Change a planned termination", tags=TAGS, request=TerminationIn, responses={200: SheetWhole})
    def put(self, request: Request, pk: int, termination_pk: int) -> Response:
        """In a draft: stated as a whole."""
        return Response(_plan(request, found(_rows(), pk=pk), _termination(pk, termination_pk)))

    @extend_schema(summary="Remove a planned termination", tags=TAGS, responses={204: None})
    def delete(self, request: Request, pk: int, termination_pk: int) -> Response:
        """From a draft."""
        remove_termination(termination=_termination(pk, termination_pk), by=person_of(request), at=now())
        return Response(status=204)


def _termination(sheet_pk: int, pk: int) -> Termination:
    rows = Termination.objects.select_related("terminal", "tool", "press", "sheet").prefetch_related("termination_wires__wire")
    return found(rows, sheet=sheet_pk, pk=pk)


def _plan(request: Request, sheet: SetupSheet, earlier: Termination | None) -> Any:
    """Have the page's form read what was stated, and plan it."""
    values = {name: text_of(getattr(Termination(), name)) for name in PLAN}
    form: Any = read_with_wires(TerminationForm(values | form_values(request, TerminationIn), termination=earlier))
    plan_termination(sheet=sheet, stated=form.stated(), by=person_of(request), at=now(), termination=earlier)
    return whole(sheet.pk)


def form_values(request: Request, serializer: type[Asked]) -> dict[str, Any]:
    """The body as the form's values, the list of wires dealt out to its fields."""
    body = asked(request, serializer, of_form=True)
    wires = body.pop("wires", [])
    return written(body) | dict(zip(WIRES, wires, strict=False))


def read_with_wires(form: BaseForm) -> BaseForm:
    """The form, read; what it says of a wire's field is told of the list."""
    try:
        return read_by(form)
    except Refused as refused:
        raise Refused(_at_wires(finding) for finding in refused.findings) from None


def _at_wires(finding: Finding) -> Finding:
    if finding.field not in WIRES:
        return finding
    place = f"wires.{WIRES.index(finding.field)}" if finding.rule != "data.required" else "wires"
    return Finding(finding.rule, finding.verdict, place, finding.compared)


class SubmitView(ApiView):
    @extend_schema(summary="Submit a sheet to review", tags=TAGS, request=None, responses={200: SheetWhole})
    def post(self, request: Request, pk: int) -> Response:
        """Refused with every misfit of every termination."""
        submit_sheet(sheet=found(_rows(), pk=pk), by=person_of(request), at=now())
        return Response(whole(pk))


class ReturnView(ApiView):
    @extend_schema(summary="Return a sheet to its author", tags=TAGS, request=CommentIn, responses={200: SheetWhole})
    def post(self, request: Request, pk: int) -> Response:
        """The sheet becomes a draft again."""
        sheet = found(_rows(), pk=pk)
        return_sheet(sheet=sheet, comment=asked(request, CommentIn)["comment"], by=person_of(request), at=now())
        return Response(whole(pk))


class ReleaseView(ApiView):
    @extend_schema(summary="Release a sheet", tags=TAGS, request=ReleaseIn, responses={200: SheetWhole})
    def post(self, request: Request, pk: int) -> Response:
        """Signed by a second person over exactly what was reviewed. The revision before it is superseded."""
        sheet, body, at = found(_rows(), pk=pk), asked(request, ReleaseIn), now()
        signing = signed(request, body["signature"], RELEASED_MEANING, at)
        release_sheet(sheet=sheet, by=signing.person, at=at, signing=signing, seen_sha256=body["seen_sha256"])
        return Response(whole(pk))


class ReviseView(ApiView):
    @extend_schema(summary="Start the next revision of a sheet", tags=TAGS, request=ReasonIn, responses={201: SheetWhole})
    def post(self, request: Request, pk: int) -> Response:
        """A draft as a copy, with the targets of the specifications in force now. The old one stays in force until then."""
        sheet = found(_rows(), pk=pk)
        draft = revise_sheet(sheet=sheet, reason=asked(request, ReasonIn)["reason"], by=person_of(request), at=now())
        return Response(whole(draft.pk), status=201)


class WithdrawView(ApiView):
    @extend_schema(summary="Withdraw a sheet", tags=TAGS, request=WithdrawIn, responses={200: SheetWhole})
    def post(self, request: Request, pk: int) -> Response:
        """Out of force without a successor: no batch starts on it any more."""
        sheet, body, at = found(_rows(), pk=pk), asked(request, WithdrawIn), now()
        signing = signed(request, body["signature"], WITHDRAWN_MEANING, at)
        withdraw_sheet(sheet=sheet, reason=body["reason"], by=signing.person, at=at, signing=signing)
        return Response(whole(pk))
