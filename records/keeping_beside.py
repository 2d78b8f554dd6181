"""What pages of things show of keeping: the files attached to them, and legal holds that cover them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db.models import CharField
from django.urls import reverse
from django.utils.translation import gettext as _

from records.acts.attachments import in_order
from records.attachables import ATTACHABLE, Thing, thing_of
from records.keeping_models import Attachment, DisposedFile, HoldScope, KeptAs, LegalHold
from records.legal_holds import holds_on
from shop.beside import Beside, BesideLine, register
from shop.catalogue import KINDS
from shop.composed import Composed, Given
from shop.file_kind import ENDINGS
from shop.pages.relied_on import size_words
from shop.people import Person
from shop.permissions import Deed, may


@dataclass(frozen=True, slots=True)
class AttachmentRow:
    """A file attached to a thing. state: "" for one that counts; act: number of the disposal that took its file."""

    title: str
    file_name: str
    size: str
    sha256: str
    by: str
    at: datetime
    url: str
    withdrawn: str
    withdraw_url: str
    act: str


@dataclass(frozen=True, slots=True)
class AttachmentsPart:
    """The files of one thing and the form for another. title: as it was typed."""

    thing: Thing
    rows: list[AttachmentRow]
    post_url: str
    accept: str
    limit_mb: int
    may_attach: bool
    title: str = ""


_ATTACHED = Composed(lambda: in_order(Attachment.objects.filter(subject_kind=Given("kind", CharField()), subject_id=Given("pk"))))


def _disposed(rows: list[Attachment]) -> dict[int, str]:
    """Attachment -> the act that disposed of its file."""
    files = DisposedFile.objects.filter(kept_as=KeptAs.ATTACHMENT, row_id__in=[row.pk for row in rows])
    return dict(files.values_list("row_id", "disposal__number"))


def attachments_part(thing: Thing, person: Person, *, title: str = "") -> AttachmentsPart:
    rows = _ATTACHED(kind=thing.of.kind, pk=thing.pk)
    acts = _disposed(rows) if rows else {}
    may_withdraw = may(person, Deed.WITHDRAW_ATTACHMENT)
    return AttachmentsPart(
        thing=thing,
        rows=[_row(row, may_withdraw, acts.get(row.pk, "")) for row in rows],
        post_url=reverse("prove:attachments", args=[thing.of.slug, thing.pk]),
        accept=",".join(ending for endings in ENDINGS.values() for ending in endings),
        limit_mb=settings.UPLOAD_LIMIT_BYTES // (1024 * 1024),
        may_attach=may(person, Deed.ATTACH),
        title=title,
    )


def _row(row: Attachment, may_withdraw: bool, act: str) -> AttachmentRow:
    gone = getattr(row, "withdrawal", None)
    return AttachmentRow(
        title=row.title,
        file_name=row.file_name,
        size=size_words(row.size),
        sha256=row.sha256,
        by=row.by.name,
        at=row.at,
        url=reverse("prove:attachment-file", args=[row.pk]),
        withdrawn=f"{gone.reason} ({gone.by.name})" if gone else "",
        withdraw_url=reverse("prove:attachment-withdraw", args=[row.pk]) if may_withdraw and gone is None else "",
        act=act,
    )


def attachments_beside(item: Any, person: Person) -> Beside:
    part = attachments_part(thing_of(item), person)
    return Beside("attachments", _("Attachments"), (), template="_attachments.html", page=part)


# --- Legal holds --------------------------------------------------------------------------------------------------------------------


def _section(holds: list[LegalHold]) -> Beside | None:
    if not holds:
        return None
    lines = tuple(
        BesideLine(
            name=hold.number,
            text=f"{hold.what}: {hold.reason} ({hold.reference})",
            url=reverse("prove:legal-hold", args=[hold.number]),
            outcome="waiting",
            word=_("nothing is disposed of"),
            at=hold.placed_at,
        )
        for hold in holds
    )
    return Beside("legal-hold", _("On legal hold"), lines)


def _covering(kind: str) -> Callable[[Any, Person], Beside | None]:
    return lambda item, person: _section(holds_on(kind, item.pk))


def _named(scope: HoldScope, name_of: Callable[[Any], str]) -> Callable[[Any, Person], Beside | None]:
    """Of what a hold names itself."""
    return lambda item, person: _section(list(LegalHold.objects.filter(lifted_at=None, scope=scope, name=name_of(item)).order_by("pk")))


def _of_job(job: Any, person: Person) -> Beside | None:
    named = ((HoldScope.JOB, job.number), (HoldScope.CUSTOMER, job.customer.code), (HoldScope.PART, job.part_number))
    holds = LegalHold.objects.filter(lifted_at=None).order_by("pk")
    return _section([hold for hold in holds if (hold.scope, hold.name) in named])


def register_all() -> None:
    for one in ATTACHABLE.values():
        # The catalogue names its kinds by their slugs, whatever the ledger calls them.
        slug = next((kind.slug for kind in KINDS.values() if kind.model is one.model), one.kind)
        register(slug, _covering(one.kind))
        register(slug, attachments_beside)
    register("documents", _covering("documents"))
    register("customers", _named(HoldScope.CUSTOMER, lambda customer: customer.code))
    for slug in ("wires", "terminals"):
        register(slug, _named(HoldScope.PART, lambda part: part.part_number))
    register("job", _of_job)
