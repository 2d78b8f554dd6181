"""A database of its own for tests that need real processes and real commits, beside the one the suite rolls back."""

from __future__ import annotations

import os
import subprocess
import sys
import uuid
from contextlib import contextmanager
from pathlib import Path

import psycopg
from django.db import connection

ROOT = Path(__file__).resolve().parents[2]


@contextmanager
def shop_of_its_own(folder, **environment):
    """Yields `run(arguments, check=True)`, which runs Python in a shop with a migrated, empty database of its own."""
    found = connection.settings_dict
    name = f"throwaway_{uuid.uuid4().hex[:12]}"
    postgres = connection.vendor == "postgresql"
    if postgres:
        host, port = found["HOST"] or "127.0.0.1", found["PORT"] or 5432
        user = found["USER"] + (f":{found['PASSWORD']}" if found["PASSWORD"] else "")
        url = f"postgres://{user}@{host}:{port}/{name}"
        server = f"postgres://{user}@{host}:{port}/{found['NAME']}"
        with psycopg.connect(server, autocommit=True) as beside:  # a database cannot be made inside the suite's transaction
            beside.execute(f'CREATE DATABASE "{name}"')
    else:
        url = f"sqlite:///{folder / 'shop.sqlite3'}"
    environment = {**os.environ, "DATABASE_URL": url, "DATA_DIR": str(folder), "DJANGO_SETTINGS_MODULE": "shop.settings", **environment}

    def run(*arguments, check=True):
        ended = subprocess.run([sys.executable, *arguments], cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
        assert not (check and ended.returncode), ended.stderr  # said in full, as the exception of `check` does not
        return ended

    run.start = lambda *arguments: subprocess.Popen([sys.executable, *arguments], cwd=ROOT, env=environment)  # type: ignore[attr-defined]
    run("manage.py", "migrate", "-v0")
    try:
        yield run
    finally:
        if postgres:
            with psycopg.connect(server, autocommit=True) as beside:
                beside.execute(f'DROP DATABASE "{name}" WITH (FORCE)')
