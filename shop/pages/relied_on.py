"""What a document's or specification's page shows beside its facts: its file, and everything that relies on it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.urls import reverse

from shop.acts.documents import sheets_relying_on, specifications_relying_on
from shop.people import Person
from shop.permissions import Deed, may
from shop.queries import SheetLine, sheet_line
from shop.specifications import CrimpSpecification, Document

SHOWN = 100


@dataclass(frozen=True, slots=True)
class FileFact:
    name: str
    kind: str
    size: str
    sha256: str


@dataclass(frozen=True, slots=True)
class ReliedOn:
    """Sheets in work or in force, and specifications in force. count: all of them, also those not shown."""

    sheets: list[tuple[SheetLine, str]]
    specifications: list[tuple[str, str]]
    count: int
    is_cut: bool


@dataclass(frozen=True, slots=True)
class PaperPart:
    """has_file: whether this kind of paper has one at all."""

    has_file: bool
    file: FileFact | None
    file_url: str
    may_attach: bool
    relied_on: ReliedOn
    withdraw_url: str


def relied_on(item: Document | CrimpSpecification, on: date) -> ReliedOn:
    sheets = list(sheets_relying_on(item).select_related("job"))
    specifications = list(specifications_relying_on(item, on))
    return ReliedOn(
        sheets=[(sheet_line(sheet), f"{sheet.job.number} {sheet.job.part_number}") for sheet in sheets[:SHOWN]],
        specifications=[(str(s), reverse("shop:detail", args=["specifications", s.pk])) for s in specifications[:SHOWN]],
        count=len(sheets) + len(specifications),
        is_cut=len(sheets) > SHOWN or len(specifications) > SHOWN,
    )


def paper_part(item: Document | CrimpSpecification, person: Person, on: date) -> PaperPart:
    permitted, is_document = may(person, Deed.CHANGE_CATALOGUE), isinstance(item, Document)
    over = item.withdrawn_on is not None and item.withdrawn_on <= on
    slug = "documents" if is_document else "specifications"
    file = None
    if isinstance(item, Document) and item.file_sha256:
        file = FileFact(item.file_name, item.file_type, size_words(item.file_size or 0), item.file_sha256)
    return PaperPart(
        has_file=is_document,
        file=file,
        file_url=reverse("shop:document-file", args=[item.pk]) if is_document else "",
        may_attach=is_document and permitted and file is None,
        relied_on=relied_on(item, on),
        withdraw_url=reverse("shop:withdraw", args=[slug, item.pk]) if permitted and not over else "",
    )


def size_words(count: int) -> str:
    return f"{count / 1024 / 1024:.1f} MB" if count >= 1024 * 1024 else f"{max(round(count / 1024), 1)} kB"
