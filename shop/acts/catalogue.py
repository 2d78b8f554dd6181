"""What people do with the catalogue: add and change items, change their state, and bring in many from a file (`catalogue_import`)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction

from shop.canonical import content_sha256
from shop.catalogue import Kind, kind_named, kind_of
from shop.crib import Press
from shop.events import CatalogueChanged, publish
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.forms.item import ItemForm
from shop.materials import MaterialLot
from shop.people import Person
from shop.permissions import Deed, may, permission_findings
from shop.tools import Gauge, Tool
from shop.validation import clean, findings_from


def save_item(
    *,
    kind: Kind | str,
    values: Mapping[str, Any],
    by: Person,
    at: datetime,
    instance: models.Model | None = None,
    reason: str = "",
    seen_sha256: str = "",
) -> Any:
    """Add an item, or change `instance`. Raises Refused with every finding. What changes nothing is no event.

    values: as written into the form, by field name; a field left out is empty (`Kind.stated(item) | changes` changes only some).
    seen_sha256: `seen(kind, item)` when the form was opened; an item changed meanwhile is not overwritten.
    """
    kind = kind_named(kind) if isinstance(kind, str) else kind
    refuse_if(permission_findings(by, kind.deed))
    with transaction.atomic():
        if instance is not None:
            instance = kind.model._default_manager.select_for_update().get(pk=instance.pk)
            refuse_if([misfit("data.race")] if seen_sha256 and seen(kind, instance) != seen_sha256 else [])
        item, before = write_item(kind, values, instance)
        after = kind.recorded(item)
        if before != after:
            content = {"kind": kind.slug, "before": before, "after": after, "reason": reason.strip()}
            publish(CatalogueChanged(by=by, at=at, subject=subject_of(kind, item), content=content))
    return item


def write_item(
    kind: Kind, values: Mapping[str, Any], instance: models.Model | None, *, ask_database: bool = False
) -> tuple[Any, dict[str, str] | None]:
    """Parse, check and save one item inside the caller's transaction; the item and what was recorded of it before. Raises Refused.

    ask_database: for many rows. The constraints answer when the row is written, not in questions of their own before it; a row that is
    refused is then asked in full, so that the findings are the same.
    """
    before = kind.recorded(instance) if instance is not None else None
    form: ItemForm = kind.form(values, instance=instance)
    form.leave_constraints = ask_database
    if not form.is_valid():
        raise Refused(findings_from(ValidationError(form.errors.as_data())))
    item = form.instance
    if ask_database:
        try:
            with transaction.atomic():
                item.save()
        except IntegrityError:
            clean(item)
            raise
    else:
        clean(item)
        item.save()
    form.save_extra()
    return item, before


def seen(kind: Kind, item: models.Model) -> str:
    """The hash of an item as a form shows it."""
    return content_sha256(kind.recorded(item))


def subject_of(kind: Kind, item: models.Model) -> tuple[str, int, str]:
    return (kind.subject or kind.slug, int(item.pk), kind.key_of(item)[:120])


HELD = "on hold"  # the same word for lots, tools, presses and gauges


def set_lot_state(*, lot: MaterialLot, state: str, reason: str, by: Person, at: datetime) -> MaterialLot:
    """Release a lot, put it on hold, mark it used up or returned."""
    changed: MaterialLot = _set_state(lot, state, reason, by, at)
    return changed


def set_tool_state(*, tool: Tool, state: str, reason: str, by: Person, at: datetime) -> Tool:
    """Put a tool into use, on hold, out for service, in verification, or retire it."""
    changed: Tool = _set_state(tool, state, reason, by, at)
    return changed


def set_press_state(*, press: Press, state: str, reason: str, by: Person, at: datetime) -> Press:
    """Put a press into use, on hold, out for service, in verification, or retire it."""
    changed: Press = _set_state(press, state, reason, by, at)
    return changed


def set_gauge_state(*, gauge: Gauge, state: str, reason: str, by: Person, at: datetime) -> Gauge:
    """Put a gauge into use, on hold, into calibration, or retire it."""
    changed: Gauge = _set_state(gauge, state, reason, by, at)
    return changed


def set_states(*, items: Sequence[models.Model], state: str, reason: str, by: Person, at: datetime) -> int:
    """Change the state of many lots, tools, presses or gauges for one reason: all or none. Raises Refused with every item's findings."""
    refused: list[Finding] = []
    with transaction.atomic():
        for item in sorted(items, key=lambda one: int(one.pk)):  # in one order, so that two people never wait for each other for ever
            try:
                _set_state(item, state, reason, by, at)
            except Refused as one:
                refused += [f for f in one.findings if f not in refused]
        if not items:
            refused.append(misfit("data.none_chosen", "pk"))
        if refused:
            raise Refused(refused)
    return len(items)


def _set_state(item: models.Model, state: str, reason: str, by: Person, at: datetime) -> Any:
    """Whoever keeps the kind or decides on holds changes the state; only the latter takes something off hold. A reason is always needed."""
    kind = kind_of(item)
    assert kind is not None  # noqa: S101  # lots, tools, presses and gauges are kinds
    with transaction.atomic():
        row: Any = kind.model._default_manager.select_for_update().get(pk=item.pk)
        findings = [] if may(by, Deed.DECIDE_HOLD) else permission_findings(by, Deed.DECIDE_HOLD if row.state == HELD else kind.deed)
        if not reason.strip():
            findings.append(misfit("data.required", "state_reason"))
        refuse_if(findings)
        if row.state == state and row.state_reason == reason.strip():
            return row
        before = kind.recorded(row)
        row.state, row.state_reason = state, reason.strip()
        clean(row)
        row.save(update_fields=["state", "state_reason"])
        content = {"kind": kind.slug, "before": before, "after": kind.recorded(row), "reason": reason.strip()}
        publish(CatalogueChanged(by=by, at=at, subject=subject_of(kind, row), content=content))
    return row
