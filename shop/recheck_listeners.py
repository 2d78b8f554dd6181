"""Which changes make the answer of the fit engine for released sheets uncertain: each asks for a re-check, in its own transaction."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.dispatch import receiver

from shop.acts.rechecks import ask_recheck
from shop.events import CatalogueChanged, CatalogueImported, ConcessionGranted, ConcessionWithdrawn, Event, ShutHeightVerified, published

JUDGED: Mapping[str, frozenset[str]] = {
    "wires": frozenset({"description", "colour"}),
    "terminals": frozenset({"description", "plating", "form", "kind"}),
    "tools": frozenset(
        {"description", "state", "state_reason", "crimp_count", "service_due_count", "service_due_on", "service_every_crimps"}
        | {"service_every_days", "verification_due_on", "verification_due_count", "verification_every_crimps", "verification_every_days"}
    ),
    "tool-rows": frozenset({"setting", "conductor_setting", "insulation_setting", "approved_by_document"}),
    "presses": frozenset({"description", "state", "state_reason", "kind"}),
    "documents": frozenset({"title", "kind", "file"}),
    "specifications": frozenset(),
}
"""The catalogue kinds that the planning rules read, and of each what they do not read: a change of that alone asks for nothing."""


def is_judged(kind: str, before: Mapping[str, Any] | None, after: Mapping[str, Any]) -> bool:
    """Whether this change of a catalogue item can change what the planning rules say."""
    if kind not in JUDGED:
        return False
    before = before or {}
    differ = {name for name in {*before, *after} if before.get(name) != after.get(name)}
    retired = "retired" in (before.get("state"), after.get("state"))  # a retired tool's rows count no more
    return bool(differ - JUDGED[kind]) or ("state" in differ and retired)


@receiver(published, sender=CatalogueChanged, dispatch_uid="recheck-after-change")
def after_change(sender: type[Event], event: CatalogueChanged, **kwargs: Any) -> None:
    kind = event.content["kind"]
    if is_judged(kind, event.content["before"], event.content["after"]):
        ask_recheck(reason=f"{kind}: {event.subject[2]} changed", by=event.by, at=event.at)


@receiver(published, sender=CatalogueImported, dispatch_uid="recheck-after-import")
def after_import(sender: type[Event], event: CatalogueImported, **kwargs: Any) -> None:
    if event.content["kind"] in JUDGED:
        ask_recheck(reason=f"{event.content['kind']} imported from {event.content['file']}", by=event.by, at=event.at)


@receiver(published, sender=ShutHeightVerified, dispatch_uid="recheck-after-press")
def after_press(sender: type[Event], event: ShutHeightVerified, **kwargs: Any) -> None:
    ask_recheck(reason=f"press {event.subject[2]} verified", by=event.by, at=event.at)


@receiver(published, sender=ConcessionGranted, dispatch_uid="recheck-after-grant")
@receiver(published, sender=ConcessionWithdrawn, dispatch_uid="recheck-after-end-of-concession")
def after_concession(sender: type[Event], event: Event, **kwargs: Any) -> None:
    ask_recheck(reason=f"concession {event.subject[2]}", by=event.by, at=event.at)
