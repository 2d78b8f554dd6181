"""The catalogue: the same list, read, add, change, state and import for every kind, each with a schema of its own."""

from __future__ import annotations

import functools
from datetime import datetime
from decimal import Decimal
from typing import Any, ClassVar

from django.conf import settings
from django.core.files.uploadedfile import UploadedFile
from django.db import models
from django.urls import URLPattern, path
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from shop.acts.catalogue import save_item, seen, set_gauge_state, set_lot_state, set_press_state, set_tool_state
from shop.acts.catalogue_import import import_rows
from shop.api.bodies import CSVParser
from shop.api.fields import AnySerializer, Asked, Word
from shop.api.form_bodies import body_of, written
from shop.api.view import ApiView, ListView, asked, found, person_of
from shop.catalogue import KINDS, Kind
from shop.clock import now, shop_day
from shop.crib import Press
from shop.finding import Refused, misfit
from shop.forms.fields import KeyField
from shop.materials import LotState, MaterialLot
from shop.people import Person
from shop.permissions import may
from shop.templatetags.shop import figure
from shop.tools import Gauge, GaugeState, Tool, ToolState

STATES: dict[str, type[models.TextChoices]] = {
    "wire-lots": LotState,
    "terminal-lots": LotState,
    "tools": ToolState,
    "presses": ToolState,
    "gauges": GaugeState,
}
"""Kinds whose state is changed by an act of its own, with a reason."""

# --- What an item looks like -----------------------------------------------------------------------------------------------------


class StandingOut(AnySerializer):
    """How the item stands today."""

    outcome = serializers.CharField(help_text="conforms, does not conform, undecided or waiting; empty where nothing is judged.")
    word = serializers.CharField()


class ItemOut(AnySerializer):
    """One item of a kind, with what was computed from it."""

    kind: ClassVar[Kind]

    def to_representation(self, item: Any) -> dict[str, Any]:
        kind, on = self.kind, self.context.get("on") or shop_day(now())
        names = [str(name) for name in self.fields]
        values = {name: _value(kind, item, name) for name in names if name not in ("id", "key", "standing", "sha256")}
        shown: dict[str, Any] = {"id": item.pk, "key": kind.key_of(item)} | values
        if kind.standing is not None:
            standing = kind.standing(item, on)
            shown["standing"] = {"outcome": standing.outcome, "word": str(standing.word)}
        if self.context.get("whole"):
            shown["sha256"] = seen(kind, item)
        return shown


def _value(kind: Kind, item: Any, name: str) -> Any:
    if name == "roles":
        return sorted(held.role for held in item.person_roles.all() if held.stands_in_for_id is None)
    if name == "tools":
        return ", ".join(sorted(tool.asset_number for tool in item.own_tools.all()))
    value, field = getattr(item, name), kind.form.base_fields.get(name)
    if isinstance(field, KeyField):
        return field.key_of(value) if value is not None else None
    if isinstance(value, Decimal):
        return figure(value)
    return value


def _field_out(kind: Kind, name: str) -> Any:
    options: dict[str, Any] = {"read_only": True}
    column = kind.model._meta.get_field(name)
    field = kind.form.base_fields.get(name)
    label = field.label if field is not None else getattr(column, "verbose_name", "")
    options |= {"help_text": str(label), "allow_null": bool(getattr(column, "null", False))}
    if isinstance(field, KeyField) or not isinstance(column, models.Field):
        return serializers.CharField(**options)
    if isinstance(column, models.BooleanField):
        return serializers.BooleanField(**options)
    if isinstance(column, models.DecimalField):
        return serializers.DecimalField(max_digits=column.max_digits, decimal_places=None, **options)
    if isinstance(column, models.DateField):
        return serializers.DateField(**options)
    if isinstance(column, models.IntegerField):
        return serializers.IntegerField(**options)
    return serializers.CharField(**options)


@functools.cache
def item_out(kind: Kind) -> type[ItemOut]:
    columns = {f.name for f in kind.model._meta.concrete_fields}
    names = [name for name in (*kind.form.base_fields, *kind.computed) if name in columns]
    fields: dict[str, Any] = {"id": serializers.IntegerField(read_only=True), "key": serializers.CharField(read_only=True)}
    fields |= {name: _field_out(kind, name) for name in names}
    if "roles" in kind.form.base_fields:
        fields["roles"] = serializers.ListField(child=serializers.CharField(), read_only=True)
    if "tools" in kind.form.base_fields:
        fields["tools"] = serializers.CharField(read_only=True, help_text=str(kind.form.base_fields["tools"].label))
    if kind.standing is not None:
        fields["standing"] = StandingOut(read_only=True)
    fields["sha256"] = serializers.CharField(
        required=False, help_text="Of the item as read alone; sent back as seen_sha256, nothing changed meanwhile is overwritten."
    )
    return type(kind.model.__name__, (ItemOut,), {**fields, "kind": kind, "__doc__": f"{kind.singular}".capitalize()})


def item_in(kind: Kind) -> type[Asked]:
    return body_of(kind.form, f"{kind.model.__name__}In", required=kind.required_columns)


def item_change(kind: Kind) -> type[Asked]:
    reason = serializers.CharField(max_length=300, required=False, allow_blank=True, help_text="Why it is changed; kept with the change.")
    sha256 = serializers.CharField(max_length=64, required=False, allow_blank=True, help_text="The item's sha256 as it was read.")
    return body_of(kind.form, f"{kind.model.__name__}Change", required=kind.required_columns, reason=reason, seen_sha256=sha256)


# --- Views -----------------------------------------------------------------------------------------------------------------------


class KindOut(AnySerializer):
    """A kind of the catalogue: its address is /catalogue/ and the slug."""

    slug = serializers.CharField()
    title = serializers.CharField()
    columns = serializers.ListField(child=serializers.CharField(), help_text="Fields of an item, and columns of a file to import.")
    key = serializers.ListField(child=serializers.CharField(), help_text="What identifies an item in a file.")
    may_change = serializers.BooleanField()


class KindsView(ApiView):
    @extend_schema(summary="Kinds of the catalogue", tags=["catalogue"], responses={200: KindOut(many=True)})
    def get(self, request: Request) -> Response:
        """Every kind with its fields."""
        person = person_of(request)
        return Response(
            [
                {
                    "slug": kind.slug,
                    "title": str(kind.title),
                    "columns": list(kind.import_columns),
                    "key": list(kind.key),
                    "may_change": may(person, kind.deed),
                }
                for kind in KINDS.values()
            ]
        )


class _OfKind:
    """A view of one kind. body: the serializer of what is written; out: of what is shown."""

    kind: ClassVar[Kind]
    body: ClassVar[type[Asked]]
    out: ClassVar[type[ItemOut]]

    def rows(self) -> models.QuerySet[Any]:
        return self.kind.items(shop_day(now()))

    def whole(self, pk: int, *, status: int = 200) -> Response:
        return Response(self.out(found(self.rows(), pk=pk), context={"whole": True}).data, status=status)


class ItemsView(_OfKind, ListView):
    def get(self, request: Request) -> Response:
        """Every word of `search` is found somewhere in the item."""
        rows = self.kind.matching(self.rows(), request.query_params.get("search", "").replace("\0", ""))
        for name in self.kind.filters:
            value = request.query_params.get(name.rpartition("__")[2], "")
            rows = rows.filter(**{name: value}) if value else rows
        return self.pages(rows, self.out, on=shop_day(now()))

    def post(self, request: Request) -> Response:
        """What is left out has its default."""
        values = self.kind.stated(self.kind.model()) | written(asked(request, self.body, of_form=True))
        item = save_item(kind=self.kind, values=values, by=person_of(request), at=now())
        return self.whole(item.pk, status=201)


class ItemView(_OfKind, ApiView):
    def get(self, request: Request, pk: int) -> Response:
        """The item as it stands, with the hash of what it says."""
        return self.whole(pk)

    def put(self, request: Request, pk: int) -> Response:
        """The whole item anew: what is left out has its default again."""
        return self._change(request, pk, self.kind.stated(self.kind.model()))

    def patch(self, request: Request, pk: int) -> Response:
        """Some fields only; the others stay."""
        return self._change(request, pk, None)

    def _change(self, request: Request, pk: int, base: dict[str, Any] | None) -> Response:
        item = found(self.rows(), pk=pk)
        body = asked(request, self.body, of_form=True)
        reason, sha256 = body.pop("reason", ""), body.pop("seen_sha256", "")
        stated, given = self.kind.stated(item), written(body)
        elsewhere = [name for name in self.kind.form.only_new if name in given and given[name] != stated[name]]
        if elsewhere:
            message = "It is changed by an act of its own, with a reason."
            raise Refused([misfit("data.invalid", name, message=message) for name in elsewhere])
        values = (stated if base is None else base) | given
        save_item(kind=self.kind, values=values, by=person_of(request), at=now(), instance=item, reason=reason, seen_sha256=sha256)
        return self.whole(pk)


class StateView(_OfKind, ApiView):
    def post(self, request: Request, pk: int) -> Response:
        """Only who decides on holds takes something off hold. A reason is always needed."""
        item, body, by, at = found(self.rows(), pk=pk), asked(request, self.body), person_of(request), now()
        _set_state(item, body["state"], body["reason"], by, at)
        return self.whole(pk)


def _set_state(item: models.Model, state: str, reason: str, by: Person, at: datetime) -> None:
    match item:
        case Tool():
            set_tool_state(tool=item, state=state, reason=reason, by=by, at=at)
        case Press():
            set_press_state(press=item, state=state, reason=reason, by=by, at=at)
        case Gauge():
            set_gauge_state(gauge=item, state=state, reason=reason, by=by, at=at)
        case MaterialLot():
            set_lot_state(lot=item, state=state, reason=reason, by=by, at=at)


@functools.cache
def state_in(states: type[models.TextChoices]) -> type[Asked]:
    fields = {
        "state": Word(states, max_length=40),
        "reason": serializers.CharField(max_length=200, allow_blank=True, help_text="Why; it is shown beside the state."),
    }
    return type(f"{states.__name__}In", (Asked,), fields)


class ImportIn(AnySerializer):
    """A CSV file in UTF-8, its first line the names of the columns."""

    file = serializers.FileField()


class ReportOut(AnySerializer):
    """What an import did, or would do."""

    kind = serializers.CharField()
    file_name = serializers.CharField()
    sha256 = serializers.CharField()
    rows = serializers.IntegerField()
    added = serializers.IntegerField()
    changed = serializers.IntegerField()
    unchanged = serializers.IntegerField()
    dry_run = serializers.BooleanField()


class ImportView(_OfKind, ApiView):
    parser_classes = [MultiPartParser, CSVParser]

    def post(self, request: Request) -> Response:
        """An existing key is changed, a new one added; all rows come in, or none and every wrong row is named."""
        name, data = file_in(request)
        dry_run = request.query_params.get("dry_run", "") in ("1", "true")
        report = import_rows(kind=self.kind, file_name=name, data=data, by=person_of(request), at=now(), dry_run=dry_run)
        return Response(ReportOut(report).data)


def file_in(request: Request) -> tuple[str, bytes]:
    """Name and bytes of the file, whether it comes in a form or is the body itself."""
    if isinstance(request.data, bytes):
        return request.query_params.get("file_name", "body.csv")[:100], request.data
    fields: Any = request.data
    file = fields.get("file")
    if not isinstance(file, UploadedFile):
        raise Refused([misfit("data.required", "file")])
    return (file.name or "file.csv")[:100], file.read(settings.UPLOAD_LIMIT_BYTES + 1)


# --- Addresses -------------------------------------------------------------------------------------------------------------------


def _query(name: str, description: str, kind: Any = str) -> OpenApiParameter:
    return OpenApiParameter(name, kind, OpenApiParameter.QUERY, description=description)


def _view(base: type[_OfKind], kind: Kind, body: type[Asked], **described: Any) -> Any:
    """The view of a kind, described with its own serializers."""
    made: Any = type(f"{kind.model.__name__}{base.__name__}", (base,), {"kind": kind, "body": body, "out": described.pop("out")})
    tags = [f"catalogue: {kind.title}"]
    return extend_schema_view(**{method: extend_schema(tags=tags, **said) for method, said in described.items()})(made).as_view()


def addresses_of(kind: Kind) -> list[URLPattern]:
    out, new, change = item_out(kind), item_in(kind), item_change(kind)
    one, many, slug = str(kind.singular), str(kind.title), kind.slug
    searched = [_query("search", "Words, each found somewhere in the item.")]
    searched += [_query(name.rpartition("__")[2], "Only items with this value.") for name in kind.filters]
    import_query = [_query("dry_run", "1: only say what would happen.", int), _query("file_name", "Name of a file sent as the body.")]
    items = _view(
        ItemsView,
        kind,
        new,
        out=out,
        get={"summary": f"List {many.lower()}", "parameters": searched, "responses": {200: out(many=True)}},
        post={"summary": f"Add a {one}", "request": new, "responses": {201: out}},
    )
    item = _view(
        ItemView,
        kind,
        change,
        out=out,
        get={"summary": f"Read a {one}", "responses": {200: out}},
        put={"summary": f"Change a {one} as a whole", "request": change, "responses": {200: out}},
        patch={"summary": f"Change some of a {one}", "request": change, "responses": {200: out}},
    )
    files = _view(
        ImportView,
        kind,
        new,
        out=out,
        post={
            "summary": f"Import {many.lower()}",
            "parameters": import_query,
            "request": {"multipart/form-data": ImportIn, "text/csv": OpenApiTypes.STR},
            "responses": {200: ReportOut},
        },
    )
    addresses = [
        path(f"catalogue/{slug}/", items, name=f"{slug}"),
        path(f"catalogue/{slug}/import/", files, name=f"{slug}-import"),
        path(f"catalogue/{slug}/<int:pk>/", item, name=f"{slug}-item"),
    ]
    if slug in STATES:
        body = state_in(STATES[slug])
        said = {"summary": f"Change the state of a {one}", "request": body, "responses": {200: out}}
        addresses.append(path(f"catalogue/{slug}/<int:pk>/state/", _view(StateView, kind, body, out=out, post=said), name=f"{slug}-state"))
    return addresses


urlpatterns = [path("catalogue/", KindsView.as_view(), name="catalogue"), *(a for kind in KINDS.values() for a in addresses_of(kind))]
