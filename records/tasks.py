"""What follows an act in the background, by `manage.py db_worker`: drawing and sealing documents takes seconds, and nobody at a press waits
for it. A task that fails or is lost costs nothing: the page offers "issue" for as long as there is no document.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime

from django_tasks import task

from inspection.models import Batch
from records.acts.checkpoints import checkpoint_is_due, make_checkpoint
from records.acts.document_orders import draw_order
from records.acts.documents import issue_batch_record, issue_first_article, issue_setup_sheet
from records.acts.evidence_orders import run_order
from records.acts.keeping import remove_files
from records.gather.batch import first_sample
from records.pdf import PangoMissing
from records.shop_key import KeyMissing, KeyUnreadable
from shop.clock import now
from shop.finding import Refused
from shop.jobs import SetupSheet
from shop.people import Person

logger = logging.getLogger(__name__)


@task()
def issue_released_sheet(sheet: int, by: int, at: str) -> str:
    """The document of a released sheet; its number, or "" where it could not be drawn."""
    found = SetupSheet.objects.get(pk=sheet)
    return _issued(f"Setup sheet {found}", lambda: issue_setup_sheet(sheet=found, by=_person(by), at=datetime.fromisoformat(at)))


@task()
def issue_closed_batch(batch: int, by: int, at: str) -> list[str]:
    """First-article report (where a first piece was accepted) and batch record of a closed batch."""
    found, person, moment = Batch.objects.get(pk=batch), _person(by), datetime.fromisoformat(at)
    numbers = []
    if first_sample(found) is not None:
        numbers.append(_issued(f"First-article report {found}", lambda: issue_first_article(batch=found, by=person, at=moment)))
    numbers.append(_issued(f"Batch record {found}", lambda: issue_batch_record(batch=found, by=person, at=moment)))
    return numbers


@task()
def checkpoint_ledger() -> str:
    """A signed checkpoint where one is due; what it says, or "" where none was made."""
    at = now()
    if not checkpoint_is_due(at):
        return ""
    try:
        return str(make_checkpoint(by=Person.system(), at=at))
    except (KeyMissing, KeyUnreadable, Refused) as error:
        logger.error("No checkpoint of the ledger was made: %s", error)
        return ""


@task()
def pack_ordered_evidence(order: int) -> str:
    """Pack what was asked for; how it ended."""
    return run_order(key=order).state


@task()
def draw_ordered_document(order: int) -> str:
    """Draw what was asked for; how it ended."""
    return draw_order(key=order).state


@task()
def remove_disposed_files() -> int:
    """Take the bytes of what was disposed of away; gives back how many files went."""
    return remove_files()


def _person(pk: int) -> Person:
    return Person.objects.get(pk=pk)


def _issued(what: str, act: Callable[[], object]) -> str:
    try:
        return str(act())
    except (PangoMissing, KeyMissing, KeyUnreadable, Refused, OSError) as error:
        logger.error("%s was not issued: %s", what, error)
        return ""
