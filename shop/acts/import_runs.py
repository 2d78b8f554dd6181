"""Importing a large file in the background: asked for by a person, done by the queue's worker, all rows or none.

A run that was lost (its worker was stopped) has written nothing, or everything: it is safe to start it again.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from shop.acts.catalogue_file import refuse_size, unreadable
from shop.acts.catalogue_import import ImportRefused, ImportReport, import_rows
from shop.acts.documents import storage_name
from shop.catalogue import kind_named
from shop.clock import now
from shop.finding import Finding, Refused, refuse_if
from shop.imports import ImportRun, ImportState
from shop.people import Person
from shop.permissions import permission_findings
from shop.stored_files import keep, lock, read
from shop.wording import shown

MOST_ERRORS = 500
"""Wrong rows that are kept and shown; of the others the number."""

SECONDS_BETWEEN_NEWS = 0.5


def order_import(*, kind: str, file_name: str, data: bytes, by: Person, at: datetime, dry_run: bool = False) -> ImportRun:
    """Have a file imported by the worker. Raises Refused; what is wrong with its rows the run says."""
    refuse_if(permission_findings(by, kind_named(kind).deed))
    refuse_size(data)
    sha256 = hashlib.sha256(data).hexdigest()
    with transaction.atomic():
        keep(storage_name(sha256), data)
        return _ordered(kind, file_name[:200], sha256, by, at, dry_run)


def start_again(*, run: ImportRun, by: Person, at: datetime, dry_run: bool) -> ImportRun:
    """The same file once more: after a run that was lost, or after a check that found nothing wrong. Raises Refused."""
    refuse_if(permission_findings(by, kind_named(run.kind).deed))
    with transaction.atomic():
        lock(storage_name(run.sha256))
        _stored(run)
        return _ordered(run.kind, run.file_name, run.sha256, by, at, dry_run)


def _ordered(kind: str, file_name: str, sha256: str, by: Person, at: datetime, dry_run: bool) -> ImportRun:
    from shop.tasks import import_catalogue_file  # noqa: PLC0415  # the task calls this module

    run = ImportRun.objects.create(kind=kind, file_name=file_name, sha256=sha256, dry_run=dry_run, by=by, at=at, heard_at=at)
    transaction.on_commit(lambda: import_catalogue_file.enqueue(run.pk))
    return run


def _stored(run: ImportRun) -> bytes:
    [damaged] = unreadable("it is no longer stored, or no longer the file that was uploaded").findings
    return read(storage_name(run.sha256), run.sha256, owner=("import", run.pk), damaged=damaged)


def run_import(*, key: int) -> ImportRun:
    """Do an import that was asked for: once, whoever comes first. A fault is written into its row and raised again."""
    with transaction.atomic():
        run = ImportRun.objects.select_for_update().get(pk=key)
        if run.state != ImportState.WAITING:
            return run
        run.state, run.heard_at = ImportState.CHECKING, now()
        run.save(update_fields=["state", "heard_at"])
    try:
        report = import_rows(
            kind=run.kind, file_name=run.file_name, data=_stored(run), by=run.by, at=now(), dry_run=run.dry_run, progress=_News(key)
        )
    except ImportRefused as refused:
        _end(key, ImportState.REFUSED, refused.report, refused.findings)
    except Refused as refused:
        _end(key, ImportState.REFUSED, None, refused.findings)
    except Exception as error:
        ImportRun.objects.filter(pk=key).update(state=ImportState.REFUSED, heard_at=now(), fault=f"{type(error).__name__}: {error}"[:300])
        raise
    else:
        _end(key, ImportState.DONE, report, ())
    return ImportRun.objects.get(pk=key)


class _News:
    """Writes how far a run is into its row, a few times a second and whenever its phase changes."""

    def __init__(self, key: int) -> None:
        self.key, self.phase, self.last = key, "", 0.0

    def __call__(self, phase: str, done: int, total: int) -> None:
        if phase == self.phase and time.monotonic() - self.last < SECONDS_BETWEEN_NEWS:
            return
        self.phase, self.last = phase, time.monotonic()
        ImportRun.objects.filter(pk=self.key).update(state=phase, done=done, total=total, heard_at=now())


def _end(key: int, state: str, report: ImportReport | None, findings: Sequence[Finding]) -> None:
    values = {
        "state": state,
        "heard_at": now(),
        "findings": [
            {"rule": f.rule, "verdict": f.verdict.value, "field": f.field, "compared": {n: shown(v) for n, v in f.compared.items()}}
            for f in findings
        ],
    }
    if report is not None:
        errors = [[error.line, error.column, error.reason, error.rule] for error in report.errors[:MOST_ERRORS]]
        values |= {"done": report.rows, "total": report.rows, "errors": errors, "errors_count": len(report.errors)}
        values |= {"added": report.added, "changed": report.changed, "unchanged": report.unchanged}
    ImportRun.objects.filter(pk=key).update(**values)
