"""What can be found: one entry for each kind of thing. A new kind needs no more than an entry here.

An entry says how a thing is called, what else it is known by, and where its page, its trace and its audit trail are.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import Model, QuerySet
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from inspection.models import Batch, Hold, SamplingScheme, Study
from inspection.nonconformance import Nonconformance
from records.keeping_models import Attachment, Disposal, LegalHold
from records.models import Containment, HarnessLot, HarnessSerial, IssuedDocument, Shipment
from records.trails import trail_url
from shop.catalogue import KINDS as CATALOGUE
from shop.concessions import Concession
from shop.crib import WearPart
from shop.jobs import Job, SetupSheet
from shop.people import Person, Role
from shop.wording import Text


@dataclass(frozen=True, slots=True)
class Described:
    """A thing as the search keeps it. words: all else by which it is found; alias: another number of its own."""

    name: str
    note: str
    words: tuple[str, ...] = ()
    alias: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchKind:
    """slug: in addresses. reads: fields of the model's own that the description reads; a save of others alone changes nothing here.

    joined: what describing many rows reads along. number: the part of the name that somebody types ("J-1-S1" of "J-1-S1 rev 2").
    trace: its kind in a trace, trail: its kind in the ledger; "" where it has none. many: there may be as many as batches.
    desk: only who works at a desk is shown it.
    """

    slug: str
    title: Text
    model: type[Model]
    describe: Callable[[Any], Described]
    url: Callable[[int, str], str]
    reads: frozenset[str]
    joined: tuple[str, ...] = ()
    number: Callable[[str], str] = str
    trace: str = ""
    trail: str = ""
    many: bool = False
    desk: bool = False
    rows: Callable[[], QuerySet[Any]] | None = None

    def all_rows(self) -> QuerySet[Any]:
        rows = self.rows() if self.rows else self.model._default_manager.all()
        return rows.select_related(*self.joined) if self.joined else rows

    def trace_url(self, pk: int) -> str:
        return reverse("prove:trace", args=[self.trace.replace(" ", "-"), pk]) if self.trace else ""

    def trail_url(self, pk: int) -> str:
        return trail_url(self.trail, pk) if self.trail else ""


def _by_number(view: str) -> Callable[[int, str], str]:
    return lambda pk, name: reverse(view, args=[name])


def _by_key(view: str) -> Callable[[int, str], str]:
    return lambda pk, name: reverse(view, args=[pk])


def _joined(*parts: object) -> str:
    """What there is of these, with commas: a note under a name."""
    return ", ".join(str(part) for part in parts if part)


# ---- jobs, sheets, batches


def _job(job: Job) -> Described:
    note = _joined(f"{job.part_number} {job.part_name}", job.customer.name)
    return Described(job.number, note, (job.drawing, job.purchase_order, job.customer.code))


def _sheet(sheet: SetupSheet) -> Described:
    job = sheet.job
    return Described(
        str(sheet),
        _joined(f"job {job.number}", f"{job.part_number} {job.part_name}"),
        (sheet.change_reason,),
        f"{sheet.number} {sheet.revision}",
    )


def _batch(batch: Batch) -> Described:
    t = batch.termination
    return Described(batch.number, _joined(f"lead {t.lead}, end {t.end}", t.terminal.part_number))


def _hold(hold: Hold) -> Described:
    return Described(hold.batch.number, hold.reason)


def _study(study: Study) -> Described:
    of = [part.asset_number for part in (study.gauge, study.tool) if part] + ([study.terminal.part_number] if study.terminal else [])
    return Described(study.number, _joined(study.title, study.kind, *of), (study.conclusion,))


def _scheme(scheme: SamplingScheme) -> Described:
    return Described(scheme.number, _joined(scheme.name, scheme.part.part_number), (scheme.criterion, scheme.reason))


def _concession(one: Concession) -> Described:
    covered = one.wire_lot or one.terminal_lot or one.termination or one.sheet
    return Described(one.number, _joined(covered, one.rule), (one.reason, one.withdrawn_because))


def _nonconformance(one: Nonconformance) -> Described:
    about = (one.batch, one.tool, one.press, one.terminal_lot, one.wire_lot, one.customer)
    return Described(one.number, one.what, (one.requirement, one.customer_reference, *(str(part) for part in about if part)))


# ---- lots, shipments, documents


def _lot(lot: HarnessLot) -> Described:
    return Described(lot.number, _joined(f"{lot.quantity} {lot.get_kind_display()}", f"job {lot.job.number}", lot.kept_back))


def _serial(one: HarnessSerial) -> Described:
    return Described(one.serial, f"lot {one.lot.number}")


def _shipment(sent: Shipment) -> Described:
    return Described(sent.number, _joined(sent.customer.name, sent.delivery_note), (sent.customer.code,), sent.delivery_note)


def _case(case: Containment) -> Described:
    return Described(case.number, _joined(f"{case.question} {case.subject_name}", case.reason), (case.conclusion,))


def _issued(document: IssuedDocument) -> Described:
    return Described(str(document), document.title, (document.kind, document.sha256[:12]))


def _issued_url(pk: int, name: str) -> str:
    number, _issue, issue = name.rpartition(" issue ")
    return reverse("prove:document", args=[number, int(issue)])


def _legal_hold(hold: LegalHold) -> Described:
    return Described(hold.number, _joined(hold.what, hold.reason), (hold.reference, hold.lifted_because), hold.reference)


def _disposal(act: Disposal) -> Described:
    return Described(act.number, _joined(act.get_kind_display(), act.reason))


def _attachment(file: Attachment) -> Described:
    return Described(file.title, _joined(file.file_name, file.subject_name), (file.sha256[:12],))


def _before(word: str) -> Callable[[str], str]:
    return lambda name: name.rpartition(word)[0] or name


# ---- the catalogue


def _wear_part(part: WearPart) -> Described:
    return Described(
        part.serial or part.part_number, _joined(part.get_kind_display(), f"tool {part.tool.asset_number}"), (part.part_number,)
    )


TRACED = {
    "people": "person",
    "wire-lots": "wire lot",
    "terminal-lots": "terminal lot",
    "tools": "tool",
    "presses": "press",
    "gauges": "gauge",
    "documents": "document",
    "customers": "customer",
}
FOUND = (
    "wires",
    "terminals",
    "wire-lots",
    "terminal-lots",
    "tools",
    "presses",
    "gauges",
    "customers",
    "people",
    "documents",
    "specifications",
)
"""Kinds of the catalogue that are found by themselves. Rows of tools, calibrations and qualifications with what they belong to."""


def _catalogued(slug: str) -> SearchKind:
    """A kind of the catalogue is found by its key and by everything that its list is searched by."""
    kind = CATALOGUE[slug]
    searched = tuple(dict.fromkeys([*kind.key, *kind.search]))

    def describe(item: Any) -> Described:
        values = [_value(item, path) for path in kind.search]
        name, alias = kind.key_of(item), getattr(item, "badge", None) or ""
        if "revision" in kind.key:
            alias = f"{item.number} {item.revision}"
        return Described(name, _joined(*(value for value in values if value not in name)), tuple(values), alias)

    return SearchKind(
        slug=slug,
        title=kind.title,
        model=kind.model,
        describe=describe,
        url=lambda pk, name: reverse("shop:detail", args=[slug, pk]),
        reads=frozenset(path.partition("__")[0] for path in searched),
        joined=kind.joined,
        number=_before(" rev ") if "revision" in kind.key else str,
        trace=TRACED.get(slug, ""),
        trail=kind.subject or slug,
        many=slug in ("wire-lots", "terminal-lots"),
        desk=kind.model is Person,
        rows=(lambda: Person.objects.exclude(username="system")) if kind.model is Person else None,
    )


def _value(item: Any, path: str) -> str:
    for name in path.split("__"):
        item = getattr(item, name)
    return "" if item is None else str(item)


# ---- the registry


def _kind(
    slug: str, title: Text, model: type[Model], describe: Callable[[Any], Described], url: Any, reads: str, **more: Any
) -> SearchKind:
    return SearchKind(slug=slug, title=title, model=model, describe=describe, url=url, reads=frozenset(reads.split()), **more)


def _no_number(name: str) -> str:
    """A hold is called by its batch: whoever asks for that number means the batch. A file is called by its title."""
    return ""


ORDER: tuple[SearchKind, ...] = (
    _kind(
        "shipment", _("Shipments"), Shipment, _shipment, _by_number("prove:shipment"), "number customer delivery_note",
        joined=("customer",), trace="shipment", trail="shipment", many=True,
    ),
    _kind(
        "lot", _("Harness lots"), HarnessLot, _lot, _by_number("prove:lot"), "number quantity kind job kept_back",
        joined=("job",), trace="harness lot", trail="harness lot", many=True,
    ),
    _kind(
        "serial", _("Serial numbers"), HarnessSerial, _serial, lambda pk, name: reverse("prove:trace", args=["serial", pk]), "serial lot",
        joined=("lot",), trace="serial", many=True,
    ),
    _kind(
        "batch", _("Batches"), Batch, _batch, _by_number("prove:batch"), "number termination",
        joined=("termination__terminal",), trace="batch", trail="batch", many=True,
    ),
    _kind(
        "job", _("Jobs"), Job, _job, _by_key("plan:job"), "number customer part_number part_name drawing purchase_order",
        joined=("customer",), trail="job", many=True,
    ),
    _kind(
        "sheet", _("Setup sheets"), SetupSheet, _sheet, _by_key("plan:sheet"), "number revision job change_reason",
        joined=("job",), number=_before(" rev "), trace="sheet", trail="setup sheet", many=True,
    ),
    _kind(
        "issued", _("Issued documents"), IssuedDocument, _issued, _issued_url, "number issue title kind sha256",
        number=_before(" issue "), trail="document", many=True,
    ),
    *(_catalogued(slug) for slug in FOUND),
    _kind(
        "wear-part", _("Wear parts"), WearPart, _wear_part, lambda pk, name: reverse("prove:trace", args=["wear-part", pk]),
        "serial part_number kind tool", joined=("tool",), trace="wear part",
    ),
    _kind(
        "study", _("Studies"), Study, _study, _by_number("studies:study"), "number title kind gauge tool terminal conclusion",
        joined=("gauge", "tool", "terminal"), trail="study",
    ),
    _kind(
        "scheme", _("Sampling schemes"), SamplingScheme, _scheme, _by_number("studies:sampling-scheme"),
        "number name terminal wire criterion reason", joined=("terminal", "wire"), trail="sampling scheme",
    ),
    _kind(
        "concession", _("Concessions"), Concession, _concession, _by_key("plan:concession"), "number rule reason withdrawn_because",
        joined=("sheet", "termination__sheet", "wire_lot", "terminal_lot"), trace="concession", trail="concession",
    ),
    _kind("hold", _("Holds"), Hold, _hold, _by_number("prove:batch"), "batch reason", joined=("batch",), number=_no_number),
    _kind(
        "case", _("Containment cases"), Containment, _case, _by_number("prove:case"), "number question subject_name reason conclusion",
        trail="containment case",
    ),
    _kind(
        "nonconformance", _("Nonconformances"), Nonconformance, _nonconformance, _by_number("prove:nonconformance"),
        "number what requirement customer_reference batch tool press terminal_lot wire_lot customer",
        joined=("batch", "tool", "press", "terminal_lot", "wire_lot", "customer"), trail="nonconformance",
    ),
    _kind(
        "attachment", _("Attachments"), Attachment, _attachment, _by_key("prove:attachment"),
        "title file_name subject_name sha256", number=_no_number, many=True,
    ),
    _kind(
        "legal-hold", _("Legal holds"), LegalHold, _legal_hold, _by_number("prove:legal-hold"),
        "number scope name since until reason reference lifted_because", trail="legal hold", desk=True,
    ),
    _kind("disposal", _("Disposals"), Disposal, _disposal, _by_number("prove:disposal"), "number kind reason", trail="disposal", desk=True),
)  # fmt: skip
KINDS: dict[str, SearchKind] = {kind.slug: kind for kind in ORDER}
BY_MODEL: dict[type[Model], SearchKind] = {kind.model: kind for kind in ORDER}


def kinds_for(person: Person) -> list[SearchKind]:
    """What this person may find. Who works on the floor alone has no use for what is known about colleagues."""
    at_a_desk = bool(person.roles - {Role.OPERATOR.value})
    return [kind for kind in ORDER if at_a_desk or not kind.desk]


def titles(kinds: Iterable[SearchKind]) -> list[tuple[str, str]]:
    return [(kind.slug, str(kind.title)) for kind in kinds]
