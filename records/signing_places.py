"""Where people sign an issued document itself: which signatures a kind of document has room for, in which order, by whom."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import pikepdf
from django.utils.translation import gettext_lazy as _

from records.models import DocumentKind
from records.seal import Place
from shop.people import Role

MM = 72 / 25.4
WIDTH_MM, HEIGHT_MM = 54.0, 20.0
"""Of a place on paper; the same as in document.css."""


@dataclass(frozen=True, slots=True)
class SignPlace:
    """meaning: what the signature is for, as it stands in the ledger and in the PDF. word: the same for a reader."""

    meaning: str
    word: Any
    roles: frozenset[str]


PERFORMED = SignPlace("performed", _("Performed"), frozenset({Role.OPERATOR.value}))
CHECKED = SignPlace("checked", _("Checked"), frozenset({Role.INSPECTOR.value, Role.QUALITY.value}))
APPROVED = SignPlace("approved", _("Approved"), frozenset({Role.QUALITY.value}))

WORK = (PERFORMED, CHECKED, APPROVED)
PLACES: dict[str, tuple[SignPlace, ...]] = {
    DocumentKind.FIRST_ARTICLE: WORK,
    DocumentKind.BATCH_RECORD: WORK,
    DocumentKind.STUDY_REPORT: (CHECKED, APPROVED),
    DocumentKind.SETUP_SHEET: (),  # a working paper: it was signed when it was released
}


def places_of(kind: str) -> tuple[SignPlace, ...]:
    """The signatures a kind of document has room for, in their order; quality's approval unless the kind is listed otherwise."""
    return PLACES.get(kind, (APPROVED,))


def anchor(number: int) -> str:
    """The name under which a place is found in the PDF. number: from 1."""
    return f"sign-{number}"


def place_in(pdf: bytes, number: int) -> Place | None:
    """Where the place lies in a drawn document; None in one that was drawn without it."""
    with pikepdf.open(io.BytesIO(pdf)) as document:
        names = document.Root.get("/Names")
        if names is None or "/Dests" not in names:
            return None
        found = pikepdf.NameTree(names.Dests).get(anchor(number))
        if found is None:
            return None
        page, _fit, left, top, *_zoom = found
        index = next((at for at, one in enumerate(document.pages) if one.obj.objgen == page.objgen), None)
        if index is None:
            return None
        return Place(index, float(left), float(top) - HEIGHT_MM * MM, float(left) + WIDTH_MM * MM, float(top))
