"""What a file can be attached to. One line adds another kind of thing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.db.models import Model
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from inspection.models import Batch, Study
from inspection.nonconformance import Nonconformance
from records.containment_models import Containment
from records.keeping_models import RecordKind
from records.models import HarnessLot, Shipment
from shop.catalogue import KINDS


@dataclass(frozen=True, slots=True)
class Attachable:
    """A kind of thing. kind: as the ledger names it; record_kind: which retention rule its attachments follow."""

    kind: str
    word: Any
    model: type[Model]
    name_of: Callable[[Any], str]
    url_of: Callable[[Any], str]
    record_kind: RecordKind

    @property
    def slug(self) -> str:
        """As in an address."""
        return self.kind.replace(" ", "-")


@dataclass(frozen=True, slots=True)
class Thing:
    """One thing that files are attached to."""

    of: Attachable
    pk: int
    name: str
    url: str

    @property
    def subject(self) -> tuple[str, int, str]:
        """As the ledger names it: what is attached stands in the thing's own audit trail."""
        return (self.of.kind, self.pk, self.name)


ATTACHABLE: dict[str, Attachable] = {}


def attachable(
    kind: str, word: Any, model: type[Model], name_of: Callable[[Any], str], url_of: Callable[[Any], str], rule: RecordKind
) -> None:
    """Let files be attached to things of this kind."""
    one = Attachable(kind, word, model, name_of, url_of, rule)
    ATTACHABLE[one.slug] = one


def _catalogue(slug: str, rule: RecordKind) -> None:
    kind = KINDS[slug]
    url = lambda item: reverse("shop:detail", args=[slug, item.pk])  # noqa: E731  # one line a kind
    attachable(kind.subject or slug, kind.singular, kind.model, kind.key_of, url, rule)


_number = lambda thing: thing.number  # noqa: E731
P, M, E = RecordKind.PRODUCTION_PAPERS, RecordKind.MATERIAL_PAPERS, RecordKind.EQUIPMENT_PAPERS
attachable("batch", _("batch"), Batch, _number, lambda t: reverse("prove:batch", args=[t.number]), P)
attachable("harness lot", _("harness lot"), HarnessLot, _number, lambda t: reverse("prove:lot", args=[t.number]), P)
attachable("shipment", _("shipment"), Shipment, _number, lambda t: reverse("prove:shipment", args=[t.number]), P)
attachable("study", _("study"), Study, _number, lambda t: reverse("studies:study", args=[t.number]), P)
attachable("nonconformance", _("nonconformance"), Nonconformance, _number, lambda t: reverse("prove:nonconformance", args=[t.number]), P)
attachable("containment case", _("containment case"), Containment, _number, lambda t: reverse("prove:case", args=[t.number]), P)
for _slug in ("wire-lots", "terminal-lots"):
    _catalogue(_slug, M)
for _slug in ("tools", "presses", "gauges", "calibrations"):
    _catalogue(_slug, E)


def thing(slug: str, pk: int) -> Thing | None:
    """The thing of this kind and key; None where there is none, or no file can be attached to it."""
    of = ATTACHABLE.get(slug)
    item = of.model._default_manager.filter(pk=pk).first() if of else None
    return thing_of(item, of) if of and item else None


def thing_of(item: Any, of: Attachable | None = None) -> Thing:
    """Raises KeyError for a thing of a kind that takes no files."""
    if of is None:
        of = next((one for one in ATTACHABLE.values() if one.model is type(item)), None)
    if of is None:
        raise KeyError(type(item).__name__)
    return Thing(of, int(item.pk), of.name_of(item)[:120], of.url_of(item))
