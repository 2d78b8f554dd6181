"""The certificate of conformity of a shipment: what was sent, to which documents it was made, and what was inspected of it."""

from __future__ import annotations

from collections.abc import Iterable

from inspection.models import Batch, LoadedLot, Nonconformance, PullTest, Reading, SampleState, VisualFinding
from inspection.occurrences import numbers_of
from records.gather.common import concession_contents, document_content, shop_content
from records.gather.trace import behind_shipment, concessions_behind, summed_parts, traced_lots
from records.models import HarnessLot, Shipment
from records.report_content import CertificateContent, CertifiedLot, CertifiedMaterial, InspectedBatch
from shop.language import in_the_shops_language
from shop.specifications import Document
from shop.templatetags.shop import moment

STATEMENT = (
    "The harnesses listed here were made and inspected to the setup sheets, specifications and documents named in this certificate. "
    "The crimped terminations met their limits where they were inspected, or were let through by a concession named below. "
    "The records behind each batch are kept and can be shown."
)


def _answer(rejected: int, records: Iterable[Nonconformance]) -> str:
    numbers = ", ".join(record.number for record in records)
    told = f"; nonconformance {numbers}" if numbers else ""
    if rejected:
        return f"accepted; {rejected} rejected on the way, its pieces held and decided on{told}"
    return f"accepted{told}"


def _inspected(lot: HarnessLot, batch: Batch, records: Iterable[Nonconformance]) -> InspectedBatch:
    samples = list(batch.samples.all())
    rejected = sum(s.state == SampleState.REJECTED for s in samples)
    t = batch.termination
    return {
        "lot": lot.number,
        "batch": batch.number,
        "lead": t.lead,
        "end": t.end,
        "sheet": str(t.sheet),
        "specification": str(t.specification or ""),
        "samples": str(len(samples)),
        "measured": str(Reading.objects.filter(sample__in=samples, corrected_by__isnull=True).count()),
        "pulled": str(PullTest.objects.filter(sample__in=samples, corrected_by__isnull=True).count()),
        "criteria": str(VisualFinding.objects.filter(sample__in=samples, corrected_by__isnull=True).count()),
        "answer": _answer(rejected, records),
    }


def _materials(batches: Iterable[Batch]) -> list[CertifiedMaterial]:
    loaded = LoadedLot.objects.filter(batch__in=list(batches)).select_related("wire_lot__wire", "terminal_lot__terminal")
    found: dict[tuple[str, str], CertifiedMaterial] = {}
    for one in loaded.order_by("pk"):
        kind = "wire" if one.wire_lot_id else "terminal"
        found[kind, one.lot.lot_number] = {
            "kind": kind,
            "lot": one.lot.lot_number,
            "part_number": one.lot.part.part_number,
            "supplier": one.lot.supplier,
            "certificate": one.lot.certificate,
        }
    return [found[key] for key in sorted(found)]


@in_the_shops_language
def certificate_content(shipment: Shipment) -> CertificateContent:
    """What quality would sign for this shipment now."""
    behind = behind_shipment(shipment)
    lots: list[CertifiedLot] = [
        {
            "lot": lot.number,
            "job": lot.job.number,
            "purchase_order": lot.job.purchase_order,
            "part_number": lot.job.part_number,
            "part_name": lot.job.part_name,
            "drawing": lot.job.drawing,
            "drawing_revision": lot.job.drawing_revision,
            "quantity": str(quantity),
        }
        for lot, quantity, _origin in behind.lots
        if quantity is not None
    ]
    # What was built into these lots, or was split, merged, reworked or sent back before, was inspected in its own batches.
    every = [lot for lot, _quantity, _origin in behind.lots]
    pairs = [(lot, batch) for lot in every for batch, _pieces in behind.batches[lot.pk]]
    batches = {batch.pk: batch for _lot, batch in pairs}.values()
    recorded = numbers_of([batch.pk for batch in batches])
    documents = Document.objects.filter(specifications__terminations__batches__in=[b.pk for b in batches]).distinct()
    return {
        "kind": "certificate",
        "version": "1",
        "number": shipment.number,
        "shop": shop_content(),
        "customer": shipment.customer.name,
        "delivery_note": shipment.delivery_note,
        "shipped_at": moment(shipment.shipped_at),
        "shipped_by": shipment.shipped_by.name,
        "parts": summed_parts(traced_lots(behind)),
        "lots": lots,
        "inspected": [_inspected(lot, batch, recorded.get(batch.pk, ())) for lot, batch in pairs],
        "materials": _materials(batches),
        "documents": [document_content(d) for d in sorted(documents, key=str)],
        "concessions": concession_contents(concessions_behind(behind)),
        "statement": STATEMENT,
    }
