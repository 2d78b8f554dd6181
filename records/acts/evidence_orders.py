"""Evidence packages that take a while: asked for by a person, packed by the queue's worker, kept under their hash."""

from __future__ import annotations

import hashlib
import tempfile
import time
from datetime import date, datetime
from typing import IO

from django.core.files import File
from django.core.files.storage import default_storage
from django.db import transaction

from records.acts.evidence import period_findings, write_evidence, write_period
from records.evidence_orders import EvidenceOf, EvidenceOrder, EvidenceState
from records.models import HarnessLot, Shipment
from shop.clock import now
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.stored_files import refuse_disposed
from shop.wording import worded

SECONDS_BETWEEN_NEWS = 0.5


def order_evidence(
    *, of: str, by: Person, at: datetime, number: str = "", since: date | None = None, until: date | None = None
) -> EvidenceOrder:
    """Have a package made by the worker. of: shipment, lot (with its number) or period (with its days). Raises Refused."""
    findings = permission_findings(by, Deed.ISSUE_DOCUMENT)
    refuse_if(findings + _order_findings(of, number, since, until))
    period = of == EvidenceOf.PERIOD
    order = EvidenceOrder(of=of, number="" if period else number, by=by, at=at, heard_at=at)
    if period:
        order.since, order.until = since, until
    from records.tasks import pack_ordered_evidence  # noqa: PLC0415  # the task calls this module

    with transaction.atomic():
        order.save(force_insert=True)
        transaction.on_commit(lambda: pack_ordered_evidence.enqueue(order.pk))
    return order


def _order_findings(of: str, number: str, since: date | None, until: date | None) -> list[Finding]:
    if of == EvidenceOf.PERIOD:
        missing = [misfit("data.required", field) for field, day in (("since", since), ("until", until)) if day is None]
        return missing if since is None or until is None else period_findings(since, until)
    model = Shipment if of == EvidenceOf.SHIPMENT else HarnessLot
    kind = "shipment" if of == EvidenceOf.SHIPMENT else "harness lot"
    if not number:
        return [misfit("data.required", "number")]
    return [] if model._default_manager.filter(number=number).exists() else [misfit("evidence.of", "number", kind=kind, number=number)]


def run_order(*, key: int) -> EvidenceOrder:
    """Pack what was asked for: once, whoever comes first. What breaks is written into its row, and raised again unless it is a refusal."""
    with transaction.atomic():
        order = EvidenceOrder.objects.select_for_update().get(pk=key)
        if order.state != EvidenceState.WAITING:
            return order
        order.state, order.heard_at = EvidenceState.PACKING, now()
        order.save(update_fields=["state", "heard_at"])
    rows = EvidenceOrder.objects.filter(pk=key)
    try:
        # A package of a year can be larger than memory: it grows in a file that has no name.
        with tempfile.TemporaryFile() as out:
            _write(order, out, _News(key))
            sha256, size = _kept(out)
    except Refused as refused:
        rows.update(state=EvidenceState.BROKEN, heard_at=now(), fault=" ".join(str(worded(f).sentence) for f in refused.findings)[:500])
    except Exception as error:
        rows.update(state=EvidenceState.BROKEN, heard_at=now(), fault=f"{type(error).__name__}: {error}"[:500])
        raise
    else:
        rows.update(state=EvidenceState.DONE, heard_at=now(), sha256=sha256, size=size)
    return rows.get()


def _write(order: EvidenceOrder, out: IO[bytes], news: _News) -> None:
    at = now()
    if order.of == EvidenceOf.PERIOD and order.since and order.until:
        write_period(since=order.since, until=order.until, out=out, by=order.by, at=at, progress=news)
    elif order.of == EvidenceOf.SHIPMENT:
        write_evidence(Shipment.objects.get(number=order.number), out=out, by=order.by, at=at, progress=news)
    else:
        write_evidence(HarnessLot.objects.get(number=order.number), out=out, by=order.by, at=at, progress=news)


def _kept(out: IO[bytes]) -> tuple[str, int]:
    out.seek(0)
    sha256 = hashlib.file_digest(out, "sha256").hexdigest()  # type: ignore[arg-type]  # a file opened for bytes is one
    size = out.tell()
    if not default_storage.exists(storage_name(sha256)):
        out.seek(0)
        default_storage.save(storage_name(sha256), File(out))
    return sha256, size


class _News:
    """Writes how far a package is into its row, a few times a second."""

    def __init__(self, key: int) -> None:
        self.key, self.last = key, 0.0

    def __call__(self, done: int, total: int) -> None:
        if done < total and time.monotonic() - self.last < SECONDS_BETWEEN_NEWS:
            return
        self.last = time.monotonic()
        EvidenceOrder.objects.filter(pk=self.key).update(done=done, total=total, heard_at=now())


def storage_name(sha256: str) -> str:
    return f"evidence/{sha256[:2]}/{sha256}.zip"


def package_file(order: EvidenceOrder) -> IO[bytes]:
    """The package, open for reading. Raises Refused where its bytes are gone, disposed of, or no longer those that were packed."""
    refuse_disposed(("evidence package", order.pk))
    damaged = Refused([misfit("document.damaged", number=str(order))])
    try:
        file: IO[bytes] = default_storage.open(storage_name(order.sha256))
    except FileNotFoundError:
        raise damaged from None
    if hashlib.file_digest(file, "sha256").hexdigest() != order.sha256:  # type: ignore[arg-type]
        file.close()
        raise damaged
    file.seek(0)
    return file
