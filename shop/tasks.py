"""What is done in the background, by `manage.py db_worker`. Each task calls one act; a task that is lost is asked for again."""

from __future__ import annotations

from django_tasks import task

from shop.acts.import_runs import run_import
from shop.acts.rechecks import recheck


@task()
def recheck_released_sheets(key: int) -> int:
    """Do the re-check with this key; gives back how many terminations were looked at."""
    return recheck(key=key).done


@task()
def import_catalogue_file(key: int) -> str:
    """Do the import with this key; gives back how it ended."""
    return run_import(key=key).state
