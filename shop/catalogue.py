"""The kinds of the catalogue: one entry per kind, from which pages, API and import take what they need."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import models
from django.db.models import Q
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from shop.crib import Press
from shop.finding import Refused, misfit
from shop.forms.fields import KeyField
from shop.forms.item import ItemForm, has_default, text_of
from shop.forms.jobs import CustomerForm
from shop.forms.materials import TerminalForm, TerminalLotForm, WireForm, WireLotForm
from shop.forms.people import PersonForm, QualificationForm
from shop.forms.specifications import DocumentForm, SpecificationForm
from shop.forms.tools import CalibrationForm, GaugeForm, PressForm, ToolForm, ToolRowForm
from shop.jobs import Customer
from shop.materials import Terminal, TerminalLot, Wire, WireLot
from shop.people import Person, Qualification
from shop.permissions import Deed
from shop.specifications import CrimpSpecification, Document
from shop.standing import (
    Standing,
    calibration_standing,
    document_standing,
    gauge_standing,
    gauges_with_calibration,
    in_use_standing,
    lot_standing,
    person_standing,
    press_standing,
    qualification_standing,
    row_standing,
    tool_standing,
)
from shop.tools import Calibration, Gauge, Tool, ToolRow

Text = str | Promise


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a list. names: the model fields it shows (two for a range); through a relation as "wire__csa_mm2"."""

    label: Text
    names: tuple[str, ...]
    note: str = ""  # a further field in smaller type under the value


@dataclass(frozen=True, slots=True)
class Related:
    """Rows of another kind that belong to an item: field of that kind that points at it."""

    slug: str
    field: str
    title: Text


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One kind of catalogue item.

    slug: in addresses and commands. part: which of the six parts it belongs to. key: the fields that identify an item, also in a file.
    search: what the search looks through. filters: fields with choices offered above the list. computed: fields the form fills by itself.
    """

    slug: str
    model: type[models.Model]
    title: Text
    singular: Text
    part: str
    form: type[ItemForm]
    deed: Deed
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    search: tuple[str, ...]
    filters: tuple[str, ...] = ()
    order: tuple[str, ...] = ()
    joined: tuple[str, ...] = ()
    computed: tuple[str, ...] = ()
    standing: Callable[[Any, date], Standing] | None = None
    related: tuple[Related, ...] = ()
    explain: Text = ""
    subject: str = ""  # by which records name it; empty: the slug

    def items(self, on: date) -> models.QuerySet[Any]:
        """All items with what their lists show, in the kind's order."""
        rows: models.QuerySet[Any] = self.model._default_manager.all()
        if self.joined:
            rows = rows.select_related(*self.joined)
        if self.model is Person:
            rows = rows.exclude(username="system").prefetch_related("person_roles")
        if self.model is Gauge:
            rows = gauges_with_calibration(rows, on)
        return rows.order_by(*self.order or self.key, "pk")

    def matching(self, rows: models.QuerySet[Any], words: str) -> models.QuerySet[Any]:
        """The items in which every word is found somewhere."""
        for word in words.split():
            condition = Q()
            for name in self.search:
                condition |= Q(**{f"{name}__icontains": word})
            rows = rows.filter(condition)
        return rows

    @property
    def import_columns(self) -> tuple[str, ...]:
        """Column names of a file, in the order of the template."""
        return tuple(self.form.base_fields)

    @property
    def required_columns(self) -> tuple[str, ...]:
        return tuple(name for name, field in self.form.base_fields.items() if field.required and not has_default(self.model, name))

    def key_of(self, item: models.Model) -> str:
        """The item's name for people, records and addresses of files."""
        if isinstance(item, Qualification):
            return " ".join(part for part in (item.person.username, item.process, item.tool_kind, str(item.granted_on)) if part)
        if isinstance(item, Person):
            return item.username
        if isinstance(item, Customer):
            return item.code
        return str(item)[:120]

    def extra_values(self, item: models.Model) -> dict[str, Any]:
        """What belongs to the item but stands in no column of it; a form is built only for a kind that has such things."""
        has_some = self.form.extra_values is not ItemForm.extra_values
        return dict(self.form(instance=item).extra_values()) if has_some else {}

    def stated(self, item: models.Model) -> dict[str, str]:
        """What one would write into the form to get this item."""
        values: dict[str, Any] = {name: getattr(item, name, "") for name in self.form.base_fields} | self.extra_values(item)
        return {
            name: field.key_of(values[name]) if isinstance(field, KeyField) and values[name] else text_of(values[name])
            for name, field in self.form.base_fields.items()
        }

    def recorded(self, item: models.Model) -> dict[str, str]:
        """The item as the ledger keeps it: what was stated and what was computed from it."""
        own = {f.name for f in self.model._meta.concrete_fields} | set(self.extra_values(item))
        stated = {name: text for name, text in self.stated(item).items() if name in own}
        return stated | {name: text_of(getattr(item, name)) for name in self.computed}


_LOT_COLUMNS = (
    Column(_("supplier"), ("supplier",), note="certificate"),
    Column(_("received"), ("received_on",)),
    Column(_("quantity"), ("quantity",)),
)

_KINDS = (
    Kind(
        slug="people",
        subject="person",
        model=Person,
        title=_("People"),
        singular=_("person"),
        part="people",
        form=PersonForm,
        deed=Deed.CHANGE_PEOPLE,
        key=("username",),
        order=("name",),
        columns=(
            Column(_("name"), ("name",)),
            Column(_("user name"), ("username",)),
            Column(_("badge"), ("badge",)),
            Column(_("roles"), ("roles",)),
        ),
        search=("name", "username", "badge"),
        filters=("person_roles__role",),
        standing=person_standing,
        related=(Related("qualifications", "person", _("Qualifications")),),
        explain=_("One person, one account. Nobody is deleted: accounts are closed."),
    ),
    Kind(
        slug="qualifications",
        model=Qualification,
        title=_("Qualifications"),
        singular=_("qualification"),
        part="people",
        form=QualificationForm,
        deed=Deed.CHANGE_PEOPLE,
        key=("person", "process", "tool_kind", "granted_on"),
        order=("person__name", "process", "tool_kind", "-granted_on"),
        joined=("person",),
        columns=(
            Column(_("person"), ("person__name",)),
            Column(_("process"), ("process",)),
            Column(_("tool kind"), ("tool_kind",)),
            Column(_("granted"), ("granted_on",)),
            Column(_("trainer"), ("trainer",), note="evidence"),
        ),
        search=("person__name", "person__username", "trainer", "evidence"),
        filters=("process", "tool_kind"),
        standing=qualification_standing,
    ),
    Kind(
        slug="wires",
        model=Wire,
        title=_("Wires"),
        singular=_("wire"),
        part="wire",
        form=WireForm,
        deed=Deed.CHANGE_CATALOGUE,
        key=("part_number",),
        columns=(
            Column(_("part number"), ("part_number",)),
            Column(_("description"), ("description",)),
            Column(_("size as written"), ("size",)),
            Column(_("conductor area"), ("csa_mm2",)),
            Column(_("insulation diameter"), ("insulation_od_mm",)),
            Column(_("conductor"), ("conductor_kind",), note="material"),
            Column(_("colour"), ("colour",)),
        ),
        search=("part_number", "description", "size", "colour"),
        filters=("conductor_kind", "material"),
        computed=("csa_mm2", "strands", "strand_diameter_mm", "awg"),
        standing=in_use_standing,
        related=(Related("wire-lots", "wire", _("Lots")),),
    ),
    Kind(
        slug="wire-lots",
        model=WireLot,
        title=_("Wire lots"),
        singular=_("wire lot"),
        part="wire",
        form=WireLotForm,
        deed=Deed.CHANGE_CATALOGUE,
        key=("lot_number",),
        order=("-received_on", "lot_number"),
        joined=("wire",),
        columns=(Column(_("lot number"), ("lot_number",)), Column(_("wire"), ("wire__part_number",)), *_LOT_COLUMNS),
        search=("lot_number", "wire__part_number", "supplier", "certificate"),
        filters=("state",),
        standing=lot_standing,
        explain=_("Quantities are in metres."),
    ),
    Kind(
        slug="terminals",
        model=Terminal,
        title=_("Terminals"),
        singular=_("terminal"),
        part="terminal",
        form=TerminalForm,
        deed=Deed.CHANGE_CATALOGUE,
        key=("part_number",),
        columns=(
            Column(_("part number"), ("part_number",)),
            Column(_("description"), ("description",)),
            Column(_("kind"), ("kind",), note="barrel"),
            Column(_("conductor area"), ("csa_min_mm2", "csa_max_mm2")),
            Column(_("wires"), ("wires_max",)),
            Column(_("insulation diameter"), ("od_min_mm", "od_max_mm")),
            Column(_("plating"), ("plating",)),
        ),
        search=("part_number", "description", "plating"),
        filters=("kind", "barrel"),
        standing=in_use_standing,
        related=(
            Related("specifications", "terminal", _("Crimp specifications")),
            Related("tool-rows", "terminal", _("Tools that list it")),
            Related("terminal-lots", "terminal", _("Lots")),
        ),
    ),
    Kind(
        slug="terminal-lots",
        model=TerminalLot,
        title=_("Terminal lots"),
        singular=_("terminal lot"),
        part="terminal",
        form=TerminalLotForm,
        deed=Deed.CHANGE_CATALOGUE,
        key=("lot_number",),
        order=("-received_on", "lot_number"),
        joined=("terminal",),
        columns=(Column(_("lot number"), ("lot_number",)), Column(_("terminal"), ("terminal__part_number",)), *_LOT_COLUMNS),
        search=("lot_number", "terminal__part_number", "supplier", "certificate"),
        filters=("state",),
        standing=lot_standing,
        explain=_("Quantities are in pieces."),
    ),
    Kind(
        slug="tools",
        model=Tool,
        title=_("Tools"),
        singular=_("tool"),
        part="tool",
        form=ToolForm,
        deed=Deed.CHANGE_TOOLS,
        key=("asset_number",),
        columns=(
            Column(_("asset number"), ("asset_number",)),
            Column(_("kind"), ("kind",)),
            Column(_("description"), ("description",)),
            Column(_("crimps"), ("crimp_count",)),
            Column(_("service due at"), ("service_due_count",)),
            Column(_("service due"), ("service_due_on",)),
            Column(_("verification due"), ("verification_due_on",)),
        ),
        search=("asset_number", "description"),
        filters=("kind", "state"),
        standing=tool_standing,
        related=(Related("tool-rows", "tool", _("Approved rows")),),
    ),
    Kind(
        slug="tool-rows",
        model=ToolRow,
        title=_("Approved rows"),
        singular=_("approved row"),
        part="tool",
        form=ToolRowForm,
        deed=Deed.CHANGE_TOOLS,
        key=("tool", "terminal", "cavity", "csa_min_mm2"),
        order=("tool__asset_number", "terminal__part_number", "csa_min_mm2"),
        joined=("tool", "terminal"),
        columns=(
            Column(_("tool"), ("tool__asset_number",)),
            Column(_("terminal"), ("terminal__part_number",)),
            Column(_("cavity"), ("cavity",)),
            Column(_("setting"), ("setting",)),
            Column(_("conductor setting"), ("conductor_setting",)),
            Column(_("insulation setting"), ("insulation_setting",)),
            Column(_("conductor area"), ("csa_min_mm2", "csa_max_mm2")),
            Column(_("insulation diameter"), ("od_min_mm", "od_max_mm")),
        ),
        search=("tool__asset_number", "terminal__part_number", "setting", "approved_by_document"),
        standing=row_standing,
        explain=_("This terminal, these conductor areas and insulation diameters, on this tool at this setting."),
    ),
    Kind(
        slug="presses",
        subject="press",
        model=Press,
        title=_("Presses"),
        singular=_("press"),
        part="tool",
        form=PressForm,
        deed=Deed.CHANGE_TOOLS,
        key=("asset_number",),
        columns=(
            Column(_("asset number"), ("asset_number",)),
            Column(_("kind"), ("kind",)),
            Column(_("description"), ("description",)),
            Column(_("mount"), ("mount",), note="feed"),
            Column(_("force rating"), ("force_rating_n",)),
            Column(_("shut height"), ("shut_height_mm",)),
            Column(_("verification due"), ("shut_height_due_on",)),
        ),
        search=("asset_number", "description", "mount"),
        filters=("kind", "state"),
        standing=press_standing,
        explain=_("What applicators and die sets go into. The shut height is verified; a press that is off breaks every crimp height."),
    ),
    Kind(
        slug="documents",
        model=Document,
        title=_("Documents"),
        singular=_("document"),
        part="documents",
        form=DocumentForm,
        deed=Deed.CHANGE_CATALOGUE,
        key=("number", "revision"),
        columns=(
            Column(_("number"), ("number",)),
            Column(_("revision"), ("revision",)),
            Column(_("title"), ("title",)),
            Column(_("kind"), ("kind",)),
            Column(_("in force from"), ("effective_on",)),
        ),
        search=("number", "title"),
        filters=("kind",),
        standing=document_standing,
        related=(Related("specifications", "document", _("Crimp specifications that cite it")),),
    ),
    Kind(
        slug="specifications",
        model=CrimpSpecification,
        title=_("Crimp specifications"),
        singular=_("crimp specification"),
        part="documents",
        form=SpecificationForm,
        deed=Deed.CHANGE_CATALOGUE,
        key=("number", "revision"),
        joined=("terminal", "document"),
        columns=(
            Column(_("number"), ("number",)),
            Column(_("rev"), ("revision",)),
            Column(_("terminal"), ("terminal__part_number",)),
            Column(_("conductor area"), ("csa_min_mm2", "csa_max_mm2")),
            Column(_("crimp height"), ("crimp_height_min_mm", "crimp_height_max_mm")),
            Column(_("strip length"), ("strip_length_min_mm", "strip_length_max_mm")),
            Column(_("pull force"), ("pull_force_min_n",)),
            Column(_("document"), ("document",)),
        ),
        search=("number", "terminal__part_number", "document__number"),
        filters=("tool_kind",),
        standing=document_standing,
        explain=_("The application specification, the customer's drawing and the applicable standard outrank what is written here."),
    ),
    Kind(
        slug="gauges",
        model=Gauge,
        title=_("Gauges"),
        singular=_("gauge"),
        part="inspection",
        form=GaugeForm,
        deed=Deed.CHANGE_TOOLS,
        key=("asset_number",),
        columns=(
            Column(_("asset number"), ("asset_number",)),
            Column(_("kind"), ("kind",)),
            Column(_("description"), ("description",)),
            Column(_("resolution"), ("resolution",)),
            Column(_("unit"), ("unit",)),
        ),
        search=("asset_number", "description"),
        filters=("kind", "state"),
        standing=gauge_standing,
        related=(Related("calibrations", "gauge", _("Calibrations")),),
    ),
    Kind(
        slug="calibrations",
        model=Calibration,
        title=_("Calibrations"),
        singular=_("calibration"),
        part="inspection",
        form=CalibrationForm,
        deed=Deed.CHANGE_TOOLS,
        key=("gauge", "certificate"),
        order=("gauge__asset_number", "-calibrated_on"),
        joined=("gauge",),
        columns=(
            Column(_("gauge"), ("gauge__asset_number",)),
            Column(_("certificate"), ("certificate",)),
            Column(_("laboratory"), ("laboratory",)),
            Column(_("calibrated"), ("calibrated_on",)),
            Column(_("due"), ("due_on",)),
            Column(_("result"), ("result",)),
        ),
        search=("gauge__asset_number", "certificate", "laboratory"),
        filters=("result",),
        standing=calibration_standing,
    ),
    Kind(
        slug="customers",
        model=Customer,
        title=_("Customers"),
        singular=_("customer"),
        part="",
        form=CustomerForm,
        deed=Deed.CHANGE_CATALOGUE,
        key=("code",),
        columns=(Column(_("code"), ("code",)), Column(_("name"), ("name",))),
        search=("code", "name"),
    ),
)

KINDS: Mapping[str, Kind] = {kind.slug: kind for kind in _KINDS}


def kind_named(slug: str) -> Kind:
    """The kind of this slug. Raises Refused for one there is not."""
    try:
        return KINDS[slug]
    except KeyError:
        raise Refused([misfit("import.kind", "kind", kind=slug, kinds=", ".join(KINDS))]) from None


def kind_of(item: models.Model) -> Kind | None:
    """The kind an item belongs to, or None for what is no catalogue item."""
    return next((kind for kind in _KINDS if kind.model is type(item)), None)
