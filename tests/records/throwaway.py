"""A database of its own for tests that need real processes and real commits, beside the one the suite rolls back."""

from __future__ import annotations

import atexit
import os
import shutil
import subprocess
import sys
import tempfile
import uuid
from contextlib import contextmanager
from functools import cache, partial
from pathlib import Path
from urllib.parse import quote

import psycopg
from django.db import connection

ROOT = Path(__file__).resolve().parents[2]


@cache
def _server():
    """Address of the PostgreSQL that the suite runs on, as far as the name of a database."""
    found = connection.settings_dict
    user = found["USER"] + (f":{found['PASSWORD']}" if found["PASSWORD"] else "")
    # The host may be the folder of a socket.
    return f"postgres://{user}@{quote(found['HOST'] or '127.0.0.1', safe='')}:{found['PORT'] or 5432}"


def _on_server(statement):
    # A database cannot be made inside the suite's transaction.
    with psycopg.connect(f"{_server()}/{connection.settings_dict['NAME']}", autocommit=True) as beside:
        beside.execute(statement)


def _environment(url, folder, **more):
    return {**os.environ, "DATABASE_URL": url, "DATA_DIR": str(folder), "DJANGO_SETTINGS_MODULE": "shop.settings", **more}


def _run(environment, *arguments, check=True):
    ended = subprocess.run([sys.executable, *arguments], cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert not (check and ended.returncode), ended.stderr  # said in full, as the exception of `check` does not
    return ended


@cache
def _migrated():
    """A migrated, empty database to copy, made once in a run of the suite: migrating takes longer than most tests. Its name or path."""
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    if connection.vendor != "postgresql":
        _run(_environment(f"sqlite:///{folder / 'shop.sqlite3'}", folder), "manage.py", "migrate", "-v0")
        return folder / "shop.sqlite3"
    name = f"throwaway_{uuid.uuid4().hex[:12]}"
    _on_server(f'CREATE DATABASE "{name}"')
    # By then the suite's own database may be gone.
    atexit.register(_drop, f"{_server()}/postgres", name)
    _run(_environment(f"{_server()}/{name}", folder), "manage.py", "migrate", "-v0")
    return name


def _drop(server, name):
    with psycopg.connect(server, autocommit=True) as beside:
        beside.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')


@contextmanager
def shop_of_its_own(folder, **environment):
    """Yields `run(arguments, check=True)`, which runs Python in a shop with a migrated, empty database of its own."""
    made, name = _migrated(), f"throwaway_{uuid.uuid4().hex[:12]}"
    if connection.vendor == "postgresql":
        _on_server(f'CREATE DATABASE "{name}" TEMPLATE "{made}"')
        url = f"{_server()}/{name}"
    else:
        shutil.copy(made, folder / "shop.sqlite3")
        url = f"sqlite:///{folder / 'shop.sqlite3'}"
    around = _environment(url, folder, **environment)
    run = partial(_run, around)
    run.start = lambda *arguments: subprocess.Popen([sys.executable, *arguments], cwd=ROOT, env=around)  # type: ignore[attr-defined]
    try:
        yield run
    finally:
        if connection.vendor == "postgresql":
            _on_server(f'DROP DATABASE "{name}" WITH (FORCE)')
