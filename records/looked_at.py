"""Which addresses are records that somebody looks at, and which thing each is about: every page, download and export of one, here and in
the API. Lists that one clicks through, forms, and pages without a record of their own are not noted."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from inspection.models import Batch, ControlLimits, Hold, Sample, SamplingScheme, Study
from inspection.nonconformance import Nonconformance
from records.models import Attachment, Containment, EvidenceOrder, HarnessLot, IssuedDocument, LedgerEntry, Shipment
from records.search import exactly
from records.search_kinds import ORDER
from records.trails import Subject, subject_of
from shop.catalogue import KINDS as CATALOGUE
from shop.composed import Composed, Given
from shop.concessions import Concession
from shop.desk_looks import LookedAs
from shop.jobs import Job, SetupSheet
from shop.looks import Finder, Thing, one, register, whole

R, T, A, D, E, X = LookedAs.RECORD, LookedAs.TRACE, LookedAs.TRAIL, LookedAs.DOCUMENT, LookedAs.EVIDENCE, LookedAs.EXPORT

LEDGER_KINDS = {kind.trace: kind.trail or kind.trace for kind in ORDER if kind.trace}
"""Kind in a trace -> kind in the ledger."""
OF_TRACE = {kind.trace: kind for kind in reversed(ORDER) if kind.trace}


def _of_subject(subject: Subject | None) -> Thing | None:
    return Thing(subject.kind, subject.pk, subject.name) if subject else None


def _item(slug: str) -> Finder:
    """An item of the catalogue, as the ledger names it."""
    return lambda given: _of_subject(subject_of(slug, given["pk"]))


def _any_item(given: Mapping[str, Any]) -> Thing | None:
    return _of_subject(subject_of(given["slug"], given["pk"])) if given["slug"] in CATALOGUE else None


def _told(given: Mapping[str, Any]) -> Thing | None:
    return _of_subject(subject_of(given["kind"], given["pk"]))


def _traced(given: Mapping[str, Any]) -> Thing | None:
    """Of a trace by key."""
    kind = given["kind"].replace("-", " ")
    of = OF_TRACE.get(kind)
    rows = _row_of(kind)(pk=given["pk"]) if of else []
    return Thing(LEDGER_KINDS[kind], given["pk"], of.describe(rows[0]).name) if of and rows else None


@cache
def _row_of(kind: str) -> Composed[Any]:
    return Composed(lambda: OF_TRACE[kind].all_rows().order_by().filter(pk=Given("pk")))


def _numbered(given: Mapping[str, Any]) -> Thing | None:
    """Of a trace by number."""
    kind = given["kind"].replace("-", " ")
    hits = exactly(given["number"], [one for one in ORDER if one.trace == kind])
    return Thing(LEDGER_KINDS[kind], hits[0].pk, hits[0].name) if hits else None


def _issued(given: Mapping[str, Any]) -> Thing | None:
    row = IssuedDocument.objects.filter(number=given["number"], issue=given["issue"]).first()
    return Thing("document", row.pk, str(row)) if row else None


def _packed(given: Mapping[str, Any]) -> Thing | None:
    """What an evidence package made at once is about."""
    if given["kind"] == "shipment":
        return SHIPMENT(given)
    return LOT(given) if given["kind"] == "lot" else None


def _ordered(given: Mapping[str, Any]) -> Thing | None:
    order = EvidenceOrder.objects.filter(pk=given["pk"]).first()
    return Thing("evidence package", order.pk, str(order)[:160]) if order else None


def _entry(variable: str) -> Finder:
    def find(given: Mapping[str, Any]) -> Thing | None:
        entry = LedgerEntry.objects.filter(number=given[variable]).only("subject_kind", "subject_id", "subject_name").first()
        return Thing(entry.subject_kind, entry.subject_id, entry.subject_name) if entry else None

    return find


def _list_of(given: Mapping[str, Any]) -> Thing | None:
    kind = CATALOGUE.get(given["slug"])
    return Thing("list", 0, str(kind.title)) if kind else None


SHIPMENT, LOT = one("shipment", Shipment, "number"), one("harness lot", HarnessLot, "number")
JOB, SHEET = one("job", Job), one("setup sheet", SetupSheet)
BATCH, STUDY = one("batch", Batch, "number"), one("study", Study, "number")
SCHEME, CASE = one("sampling scheme", SamplingScheme, "number"), one("containment case", Containment, "number")


def register_all() -> None:
    """Once, when the apps are loaded."""
    register("plan:job api:job", R, JOB)
    register("plan:sheet plan:changes api:sheet api:sheet-changes", R, SHEET)
    register("plan:concession", R, one("concession", Concession))
    register("shop:detail", R, _any_item)
    register("shop:document-file api:document-file", D, _paper)
    register("shop:export", X, _list_of)
    register("shop:crib-csv", X, whole("tool crib"))
    register("shop:matrix-csv", X, whole("matrix of people"))
    for slug in CATALOGUE:
        register(f"api:{slug}-item", R, _item(slug))
    register("prove:batch studies:dispose", R, BATCH)
    register("api:batch api:samples", R, one("batch", Batch))
    register("api:sample", R, one("sample", Sample))
    register("api:hold", R, one("hold", Hold))
    register("studies:study api:study", R, STUDY)
    register("studies:values api:study-values", X, STUDY)
    register("studies:sampling-scheme api:sampling-scheme api:sampling-lots", R, SCHEME)
    register("studies:sampling-history", X, SCHEME)
    register("studies:end-limits", R, one("control limits", ControlLimits))
    register("studies:data", X, whole("control chart"))
    register("studies:defects-data", X, whole("defects"))
    register("prove:shipment api:shipment prove:certificate api:certificate", R, SHIPMENT)
    register("prove:lot api:harness-lot", R, LOT)
    register("api:trace-shipment", T, SHIPMENT)
    register("api:trace-lot", T, LOT)
    register("prove:trace api:trace-graph", T, _traced)
    register("prove:where api:trace-where", T, _numbered)
    register("prove:trace-rows", X, _traced)
    register("prove:trail api:trail", A, _told)
    register("prove:trail-csv", X, _told)
    register("prove:ledger-entry", A, _entry("number"))
    register("prove:case api:containment-case prove:case-notice", R, CASE)
    register("prove:nonconformance api:nonconformance", R, one("nonconformance", Nonconformance, "number"))
    register("prove:document api:document", R, _issued)
    register("prove:document-file", D, _issued)
    register("prove:labels", R, SHEET)
    register("prove:travellers prove:bag-tags", D, SHEET)
    register("prove:attachments api:attachments", R, _told)
    register("prove:attachment-file api:attachment-file", D, one("attachment", Attachment))
    register("prove:looks-csv", X, whole("looks"))
    register("prove:evidence api:evidence", E, _packed)
    register("prove:evidence-file api:evidence-package-file", E, _ordered)


def _paper(given: Mapping[str, Any]) -> Thing | None:
    """A file: of a controlled document by its key, or of an issued one by number; in the API both addresses have one name."""
    return _issued(given) if "issue" in given else _of_subject(subject_of("documents", given["pk"]))
