"""The program with a fault in it, for tests only: while the file `armed` lies in DATA_DIR, the next write of a reading kills everything.

"before": inside the act, before its commit; "after": the act is committed, the answer is lost.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterable
from pathlib import Path
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")

from django.conf import settings
from django.db.models.signals import post_save

from shop.wsgi import application as program
from tests.faults.small_shop import FAST

settings.PASSWORD_HASHERS = FAST

ARMED = Path(os.environ["DATA_DIR"]) / "armed"


def die() -> None:
    ARMED.unlink()
    os.killpg(os.getpgid(0), signal.SIGKILL)


def armed(how: str) -> bool:
    return ARMED.exists() and ARMED.read_text() == how


def kill_before_commit(sender: type, **kwargs: Any) -> None:
    if sender.__name__ == "Reading" and armed("before"):
        die()


post_save.connect(kill_before_commit, weak=False)


def application(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
    answer = program(environ, start_response)
    if environ["REQUEST_METHOD"] == "POST" and "/reading/" in environ["PATH_INFO"] and armed("after"):
        die()
    return answer
