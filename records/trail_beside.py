"""The link from a catalogue item's page to its audit trail."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from records.trails import subject_of_item
from shop.beside import Beside, register
from shop.catalogue import KINDS
from shop.people import Person


def _link(item: Any, person: Person) -> Beside | None:
    subject = subject_of_item(item)
    if subject is None:
        return None
    return Beside("trail", _("Audit trail"), (), (), subject.url, _("What happened to it, who did it, and why"))


def register_all() -> None:
    for slug in KINDS:
        register(slug, _link)
