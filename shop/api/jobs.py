"""Jobs: listed, read, opened."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from shop.acts.sheets import open_job
from shop.api.fields import AnySerializer, Word
from shop.api.form_bodies import body_of, read_by, written
from shop.api.view import ApiView, ListView, asked, found, person_of
from shop.clock import now
from shop.forms.jobs import JobForm
from shop.jobs import SheetStatus
from shop.queries import jobs_for

TAGS = ["plan"]


class SheetOfJob(AnySerializer):
    """A revision of a setup sheet of the job."""

    id = serializers.IntegerField()
    number = serializers.CharField()
    revision = serializers.IntegerField()
    status = Word(SheetStatus)


class JobOut(AnySerializer):
    """A job with its sheets, newest revisions first."""

    id = serializers.IntegerField()
    number = serializers.CharField()
    customer = serializers.CharField(source="customer.code")
    customer_name = serializers.CharField(source="customer.name")
    purchase_order = serializers.CharField()
    part_number = serializers.CharField()
    part_name = serializers.CharField()
    drawing = serializers.CharField()
    drawing_revision = serializers.CharField()
    quantity = serializers.IntegerField()
    due_on = serializers.DateField(allow_null=True)
    opened_at = serializers.DateTimeField()
    sheets = SheetOfJob(many=True, source="sheets_newest_first")


JobIn = body_of(JobForm, "JobIn", required=("number", "customer", "part_number", "part_name", "drawing", "drawing_revision", "quantity"))


class JobsView(ListView):
    @extend_schema(
        summary="List jobs",
        tags=TAGS,
        parameters=[
            OpenApiParameter("search", str, description="Words, each found in number, part, customer or purchase order."),
            OpenApiParameter("sheet", str, enum=["none", *SheetStatus.values], description="With a sheet in this state, or none."),
        ],
        responses={200: JobOut(many=True)},
    )
    def get(self, request: Request) -> Response:
        """Newest first."""
        state = request.query_params.get("sheet", "")
        rows = jobs_for(request.query_params.get("search", "").replace("\0", ""), state if state in ("none", *SheetStatus.values) else "")
        return self.pages(rows, JobOut)

    @extend_schema(summary="Open a job", tags=TAGS, request=JobIn, responses={201: JobOut})
    def post(self, request: Request) -> Response:
        """The customer is named by code."""
        form: Any = read_by(JobForm(written(asked(request, JobIn, of_form=True))))
        job = open_job(by=person_of(request), at=now(), **{name: form.cleaned_data[name] for name in JobForm.base_fields})
        return Response(_job(job.pk), status=201)


class JobView(ApiView):
    @extend_schema(summary="Read a job", tags=TAGS, responses={200: JobOut})
    def get(self, request: Request, pk: int) -> Response:
        """With its sheets."""
        return Response(_job(pk))


def _job(pk: int) -> Any:
    return JobOut(found(jobs_for("", ""), pk=pk)).data
