"""The audit trail of one thing: which ledger entries are about it, and each of them in words, in the order in which they happened."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.db.models import Model, Q, QuerySet
from django.urls import reverse

from inspection.models import Sample
from records.audit_trail import imported_item, told
from records.entry_reading import read_entry
from records.models import IssuedDocument, LedgerEntry
from records.telling import Told
from shop.catalogue import KINDS, Kind, kind_of
from shop.jobs import SetupSheet
from shop.specifications import Document

PARTS_OF = {"gauges": ("calibrations", "gauge"), "tools": ("tool-rows", "tool"), "people": ("qualifications", "person")}
"""Catalogue kinds whose items belong to another: what happens to a calibration happened to its gauge. kind -> (kind, field)."""


@dataclass(frozen=True, slots=True)
class Subject:
    """A thing that entries are about, as the ledger names it. kind: as in the ledger, "setup sheet"; name: the newest it had."""

    kind: str
    pk: int
    name: str

    @property
    def url(self) -> str:
        return trail_url(self.kind, self.pk)


@dataclass(frozen=True, slots=True)
class TrailLine:
    """One entry in words. about: what it happened to, where that is only a part of the thing, such as a sample of a batch."""

    number: int
    at: datetime
    by: str
    about: str
    told: Told
    signed_as: str


def trail_url(kind: str, pk: int) -> str:
    return reverse("prove:trail", args=[kind.replace(" ", "-"), pk])


def _catalogue_kind(ledger_kind: str) -> Kind | None:
    return next((kind for kind in KINDS.values() if (kind.subject or kind.slug) == ledger_kind), None)


def subject_of_item(item: Model) -> Subject | None:
    """A catalogue item as the ledger names it."""
    kind = kind_of(item)
    return None if kind is None else Subject(kind.subject or kind.slug, int(item.pk), kind.key_of(item)[:120])


def subject_of(slug: str, pk: int) -> Subject | None:
    """The thing of this kind and key, None where the ledger and the catalogue know none. slug: the kind with hyphens for spaces."""
    for kind in (slug, slug.replace("-", " ")):
        catalogue = _catalogue_kind(kind)
        if catalogue is not None and (item := catalogue.model._default_manager.filter(pk=pk).first()) is not None:
            return subject_of_item(item)
        newest = LedgerEntry.objects.filter(subject_kind=kind, subject_id=pk).order_by("-number").first()
        if newest is not None:
            return Subject(kind, pk, newest.subject_name)
    return None


def _together(subject: Subject) -> Q:
    """The entries about the thing, about what belongs to it, and about the documents issued of it."""
    kind, ids = subject.kind, [subject.pk]
    wanted = Q()
    if kind == "setup sheet":  # every revision is the same sheet
        same_number = SetupSheet.objects.filter(pk=subject.pk).values("number")
        ids = list(SetupSheet.objects.filter(number__in=same_number).values_list("pk", flat=True))
    elif kind == "batch":
        wanted |= Q(subject_kind="sample", subject_id__in=list(Sample.objects.filter(batch=subject.pk).values_list("pk", flat=True)))
    elif kind == "documents":
        same_paper = Document.objects.filter(pk=subject.pk).values("number")
        ids = list(Document.objects.filter(number__in=same_paper).values_list("pk", flat=True))
    catalogue = _catalogue_kind(kind)
    if catalogue is not None:
        # An import is one entry about many items: which of them it touched stands in it.
        wanted |= Q(kind="catalogue.imported", subject_name__startswith=f"{catalogue.slug}: ")
        if catalogue.slug in PARTS_OF:
            slug, field = PARTS_OF[catalogue.slug]
            parts = KINDS[slug].model._default_manager.filter(**{field: subject.pk}).values_list("pk", flat=True)
            wanted |= Q(subject_kind=slug, subject_id__in=list(parts))
    else:
        issued = IssuedDocument.objects.filter(subject_kind=kind, subject_id__in=ids).values_list("pk", flat=True)
        wanted |= Q(subject_kind="document", subject_id__in=list(issued))
    return wanted | Q(subject_kind=kind, subject_id__in=ids)


def entries_about(subject: Subject, *, begin: datetime | None = None, end: datetime | None = None, by: str = "") -> QuerySet[LedgerEntry]:
    """The entries of the trail, oldest first. begin: from then; end: before then; by: user name of the person who did it."""
    rows = LedgerEntry.objects.filter(_together(subject)).select_related("by", "signature").order_by("number")
    rows = rows.filter(at__gte=begin) if begin else rows
    rows = rows.filter(at__lt=end) if end else rows
    return rows.filter(by__username=by) if by else rows


def trail(subject: Subject, entries: Iterable[LedgerEntry]) -> list[TrailLine]:
    """The entries in words. An import that did nothing to the thing is left out."""
    lines = []
    for entry in entries:
        words = _words(subject, entry)
        if words is None:
            continue
        place = _place(entry)
        if place:
            words = replace(words, changes=(*words.changes, place))
        own = (entry.subject_kind, entry.subject_id) == (subject.kind, subject.pk)
        signature = getattr(entry, "signature", None)
        about = "" if own or entry.kind == "catalogue.imported" else f"{entry.subject_kind} {entry.subject_name}"
        lines.append(TrailLine(entry.number, entry.at, entry.by.name, about, words, signature.meaning if signature else ""))
    return lines


def in_words(entry: LedgerEntry) -> Told:
    """One entry in words, compared with the release before it where it is a release."""
    return told(entry.kind, _content(entry), _before(entry))


def _content(entry: LedgerEntry) -> Mapping[str, Any]:
    """As of today's version of its kind; an entry that cannot be read at all is told without content."""
    try:
        content = read_entry(entry.text).content
    except ValueError:
        return {}
    return content if isinstance(content, Mapping) else {"content": content}


def _place(entry: LedgerEntry) -> str:
    """At which tablet it was done, where it was at one that is enrolled."""
    try:
        tablet = read_entry(entry.text).tablet
    except ValueError:
        return ""
    return f"at tablet {tablet[0]}, station {tablet[1]}" if tablet else ""


def _words(subject: Subject, entry: LedgerEntry) -> Told | None:
    if entry.kind == "catalogue.imported" and subject.kind != "import":
        return imported_item(_content(entry), subject.name)
    return in_words(entry)


def _before(entry: LedgerEntry) -> Mapping[str, Any] | None:
    """What the revision in force before said when it was released."""
    if entry.kind != "sheet.released":
        return None
    revisions: Sequence[int] = list(
        SetupSheet.objects.filter(number__in=SetupSheet.objects.filter(pk=entry.subject_id).values("number")).values_list("pk", flat=True)
    )
    last = LedgerEntry.objects.filter(
        kind=entry.kind, subject_kind=entry.subject_kind, subject_id__in=revisions, number__lt=entry.number
    ).order_by("-number")
    earlier = last.first()
    return _content(earlier) if earlier else None
