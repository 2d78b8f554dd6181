"""`manage.py demo` as a person meets it: what it leaves, and what it says when something is in the way."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest
from django.conf import settings as project
from django.core.management import call_command

from records.ledger_check import verify_ledger
from records.management.commands import demo
from records.models import IssuedDocument, LedgerHead, Shipment
from records.shop_key import load_shop_key
from records.verification import verify_pdf
from shop.command import Stopped
from tests import factories

DOCUMENTS = ("setup-sheet.pdf", "first-article.pdf", "batch-record.pdf", "trace-report.pdf")


@pytest.fixture
def empty_shop(settings, tmp_path, db):
    """A data folder of its own; the database is the test's."""
    settings.DATA_DIR = tmp_path / "data"
    settings.SHOP_KEY_DIR = tmp_path / "data" / "keys"
    settings.STATIC_ROOT = tmp_path / "data" / "static"
    return tmp_path


def test_demo_does_the_main_job_and_writes_documents_that_stand(empty_shop):
    out = empty_shop / "out"

    call_command("demo", "--out", str(out))

    root = load_shop_key(empty_shop / "data" / "keys").root
    for name in DOCUMENTS:
        assert verify_pdf((out / name).read_bytes(), trusted_root=root).stands, name
    assert (out / "evidence.zip").stat().st_size > 0
    assert verify_ledger().is_whole


def test_demo_run_twice_writes_the_same_documents_and_doubles_nothing(empty_shop):
    out = empty_shop / "out"
    call_command("demo", "--out", str(out))
    first = {name: (out / name).read_bytes() for name in (*DOCUMENTS, "evidence.zip")}
    counts = (Shipment.objects.count(), IssuedDocument.objects.count(), LedgerHead.objects.get().count)

    call_command("demo", "--out", str(out))

    assert {name: (out / name).read_bytes() for name in first} == first
    assert (Shipment.objects.count(), IssuedDocument.objects.count(), LedgerHead.objects.get().count) == counts


def test_demo_never_loads_over_another_shop(empty_shop):
    factories.make_person("somebody")

    with pytest.raises(Stopped, match="empty database only") as refused:
        call_command("demo", "--out", str(empty_shop / "out"))

    assert refused.value.returncode == 2


def test_busy_port_is_one_line_and_exit_2(empty_shop):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]

        with pytest.raises(Stopped, match=f"Port {port} on 127.0.0.1 is busy") as refused:
            call_command("demo", "--port", str(port))

    assert refused.value.returncode == 2


def run(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    """manage.py as a process of its own, with this environment and no other settings."""
    kept = {name: value for name, value in os.environ.items() if name in ("PATH", "HOME", "LANG", "LD_LIBRARY_PATH")}
    return subprocess.run(
        [sys.executable, str(project.BASE_DIR / "manage.py"), *arguments],
        capture_output=True,
        text=True,
        check=False,
        env=kept | environment,
        timeout=120,
    )


def one_line(answer: subprocess.CompletedProcess[str]) -> str:
    lines = answer.stderr.strip().splitlines()
    assert len(lines) == 1, answer.stderr
    return lines[0]


def test_unreachable_database_is_one_line_and_exit_2(tmp_path):
    answer = run("demo", "--out", str(tmp_path / "out"), DATA_DIR=str(tmp_path), DATABASE_URL="postgres://nobody@127.0.0.1:9/nothing")

    assert answer.returncode == 2
    assert "database does not answer" in one_line(answer)


def test_missing_pango_is_one_line_and_exit_2(tmp_path):
    # A machine without Pango, played by a loader that does not find it: the rest of the program is the real one.
    code = (
        "import ctypes, sys; real = ctypes.CDLL\n"
        "def without_pango(name, *a, **k):\n"
        "    if 'pango' in str(name): raise OSError(name)\n"
        "    return real(name, *a, **k)\n"
        "ctypes.CDLL = without_pango\n"
        "sys.argv = ['manage.py', 'demo', '--out', sys.argv[1]]\n"
        "import runpy; runpy.run_path('manage.py', run_name='__main__')"
    )
    answer = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "out")],
        capture_output=True,
        text=True,
        check=False,
        cwd=project.BASE_DIR,
        env={"PATH": os.environ["PATH"], "DATA_DIR": str(tmp_path)},
        timeout=60,
    )

    assert answer.returncode == 2
    assert "need Pango" in one_line(answer)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("DEBUG", "Ture", "DEBUG"),
        ("PAPER", "A5", "PAPER"),
        ("IDLE_MINUTES", "soon", "IDLE_MINUTES"),
        ("DATABASE_URL", "mysql://localhost/shop", "sqlite or a postgresql"),
        ("SECRET_KEY_FILE", "/nowhere/key", "SECRET_KEY_FILE"),
    ],
)
def test_junk_setting_stops_the_start_with_one_line(tmp_path, name, value, said):
    answer = run("check", DATA_DIR=str(tmp_path), **{name: value})

    assert answer.returncode == 2
    assert said in one_line(answer)


def test_secret_key_is_made_once_and_kept_private(tmp_path):
    run("check", DATA_DIR=str(tmp_path))
    first = (tmp_path / "secret_key").read_text()
    run("check", DATA_DIR=str(tmp_path))

    assert (tmp_path / "secret_key").read_text() == first
    assert len(first) > 50
    assert Path(tmp_path / "secret_key").stat().st_mode & 0o077 == 0


def test_worker_beside_the_server_draws_documents_for_the_same_shop(settings, tmp_path, monkeypatch):
    settings.SHOP_NAME, settings.PUBLIC_URL = "Tarnfell Harness Works", "http://127.0.0.1:8123"
    told = tmp_path / "told"
    ask = f"import os; open({str(told)!r}, 'w').write(os.environ['SHOP_NAME'] + ' ' + os.environ['PUBLIC_URL'])"
    real = subprocess.Popen
    monkeypatch.setattr(demo.subprocess, "Popen", lambda command, **options: real([command[0], "-c", ask], **options))

    with demo._background_work():
        deadline = time.monotonic() + 20
        while not (told.exists() and told.read_text()) and time.monotonic() < deadline:
            time.sleep(0.05)

    assert told.read_text() == "Tarnfell Harness Works http://127.0.0.1:8123"
