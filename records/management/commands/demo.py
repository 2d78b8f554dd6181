"""`manage.py demo`: the demo shop, served on this machine; with --out, the whole main job unattended and its documents in a folder."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from argparse import ArgumentParser
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import DatabaseError, connection

from records.acts.documents import (
    document_bytes,
    issue_batch_record,
    issue_first_article,
    issue_setup_sheet,
    issue_trace_report,
)
from records.acts.evidence import pack_evidence
from records.certificates import create_shop_key
from records.demo.keeping import prepare_keeping
from records.demo.nonconformances import prepare_nonconformances
from records.demo.shop import PEOPLE, SHOP_ADDRESS, SHOP_NAME, NotTheDemo, is_loaded, load
from records.demo.story import main_batch, prepare_open_work, run_main_job
from records.demo.studies import prepare_studies
from records.models import IssuedDocument, Shipment
from records.pdf import PangoMissing, require_pango
from records.shop_key import KeyExists, KeyMissing, KeyUnreadable, load_shop_key
from shop.clock import now
from shop.command import Stopped
from shop.finding import Refused
from shop.people import Person
from shop.wording import worded

HOST = "127.0.0.1"


class Command(BaseCommand):
    help = (
        "Load the demo shop and serve it on 127.0.0.1. With --out DIR: do the whole main job (plan, make, prove) unattended, write its "
        "documents there and end. Safe to run twice. Exit 2: something is missing or in the way, said in one line."
    )
    requires_system_checks = ()  # the database may not exist yet

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--out", metavar="DIR", type=Path, help="write the main job's documents there and end")
        parser.add_argument("--port", type=int, default=8000, help="port to serve on (default 8000)")

    def handle(self, *args: Any, out: Path | None, port: int, **options: Any) -> None:
        try:
            require_pango()
        except PangoMissing as error:
            raise Stopped(error) from error
        if out is None:
            _port_is_free(port)
        else:
            try:
                out.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise Stopped(f"{out} cannot be made: {error.strerror}") from error
        self._prepare(port)
        try:
            shipment = run_main_job(self._tell)
            if out is not None:
                self._write(out, shipment)
                return
            prepare_open_work(self._tell)
            prepare_studies(self._tell)
            prepare_nonconformances(self._tell)
            prepare_keeping(self._tell)
        except Refused as refused:
            raise Stopped(" ".join(worded(f).sentence for f in refused.findings)) from refused
        self._introduce(port)
        _serve(port)

    def _tell(self, line: str) -> None:
        self.stdout.write(f"  {line}")

    def _prepare(self, port: int) -> None:
        """Database, key, static files and catalogue, each only where it is not there yet."""
        if "SHOP_NAME" not in os.environ:
            settings.SHOP_NAME, settings.SHOP_ADDRESS = SHOP_NAME, SHOP_ADDRESS
        if "PUBLIC_URL" not in os.environ:
            settings.PUBLIC_URL = f"http://{HOST}:{port}"
        if "SIMULATED_GAUGE" not in os.environ:
            settings.SIMULATED_GAUGE = True  # nobody has a gauge at hand who tries the demo
        try:
            settings.DATA_DIR.mkdir(parents=True, exist_ok=True)
            connection.ensure_connection()
            call_command("migrate", verbosity=0, interactive=False)
        except DatabaseError as error:
            raise Stopped(f"The database does not answer: {error}") from error
        except OSError as error:
            raise Stopped(f"{error.filename} cannot be written: {error.strerror}") from error
        call_command("collectstatic", verbosity=0, interactive=False)
        try:
            create_shop_key(settings.SHOP_KEY_DIR, shop_name=settings.SHOP_NAME, at=now(), passphrase=settings.SHOP_KEY_PASSPHRASE or None)
            self._tell(f"shop key made in {settings.SHOP_KEY_DIR}")
        except KeyExists:
            pass
        try:
            load_shop_key(settings.SHOP_KEY_DIR, settings.SHOP_KEY_PASSPHRASE or None)
            if is_loaded():
                self._tell("the demo shop is loaded already")
            else:
                load(now(), self._tell)
        except (KeyMissing, KeyUnreadable, NotTheDemo) as error:
            raise Stopped(error) from error

    def _write(self, out: Path, shipment: Shipment) -> None:
        """The four documents and the evidence package. What was issued before is written again as it was issued."""
        by, at = Person.objects.get(username="audun"), now()
        batch = main_batch()
        report = IssuedDocument.objects.filter(subject_kind="shipment", subject_id=shipment.pk).order_by("-issue").first()
        documents = {
            "setup-sheet.pdf": issue_setup_sheet(sheet=batch.termination.sheet, by=by, at=at),
            "first-article.pdf": issue_first_article(batch=batch, by=by, at=at),
            "batch-record.pdf": issue_batch_record(batch=batch, by=by, at=at),
            "trace-report.pdf": report or issue_trace_report(of=shipment, by=by, at=at),
        }
        for name, document in documents.items():
            (out / name).write_bytes(document_bytes(document))
            self._tell(f"prove: {document} -> {out / name}")
        package = out / "evidence.zip"
        if package.exists():
            self._tell(f"prove: {package} is there already")
        else:
            package.write_bytes(pack_evidence(of=shipment, by=by, at=at, report=documents["trace-report.pdf"]))
            self._tell(f"prove: evidence package -> {package}")
        self.stdout.write("Done. Check a document with: manage.py verify_pdf FILE; the ledger with: manage.py verify_ledger")

    def _introduce(self, port: int) -> None:
        names = {p.username: p for p in Person.objects.filter(username__in=[p.username for p in PEOPLE])}
        width = max(len(names[p.username].name) for p in PEOPLE)
        self.stdout.write(f"\n{settings.SHOP_NAME} is served on http://{HOST}:{port}/  (stop with Ctrl-C)\n\n")
        self.stdout.write(f"  {'person':{width}}  {'user':7} {'password':20} {'badge':7} {'PIN':7} does\n")
        for p in PEOPLE:
            self.stdout.write(f"  {names[p.username].name:{width}}  {p.username:7} {p.password:20} {p.badge:7} {p.pin:7} {p.does}\n")
        self.stdout.write(
            f"\n  Desk: http://{HOST}:{port}/sign-in/   Tablet: http://{HOST}:{port}/make/sign-on/\n"
            "  To scan at the press for J-1002-S1, lead 1 end A: AP-102, TL-26-1131, WL-26-0412, MIC-11, CAL-21, PUL-31\n"
            "  Refused on purpose: MIC-12 (calibration overdue), TL-26-1121 (on hold), AP-104 (in verification)\n"
            f"  Documents are kept in {settings.MEDIA_ROOT}\n"
            "  Demo secrets are known to everybody: never on a shop's network.\n\n"
        )
        self.stdout.flush()


def _port_is_free(port: int) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OverflowError as error:
            raise Stopped(f"{port} is not a port: choose one from 1 to 65535.") from error
        except OSError as error:
            raise Stopped(f"Port {port} on {HOST} is busy: stop what uses it, or choose another with --port.") from error


def _serve(port: int) -> None:
    from gunicorn.app.base import BaseApplication  # noqa: PLC0415  # not needed for --out, and not to be had on Windows

    from shop.wsgi import application  # noqa: PLC0415

    class Server(BaseApplication):  # type: ignore[misc]  # gunicorn carries no types
        def load_config(self) -> None:
            for name, value in {
                "bind": f"{HOST}:{port}",
                "workers": 2,
                "worker_class": "gthread",
                "threads": 4,
                "loglevel": "warning",
                "accesslog": None,
                "control_socket_disable": True,
            }.items():
                if name in self.cfg.settings:
                    self.cfg.set(name, value)

        def load(self) -> Any:
            return application

    # Workers open connections of their own: one must not travel through a fork.
    connection.close()
    with _background_work():
        Server().run()


STOPPED_WITHIN_S = 10


@contextmanager
def _background_work() -> Iterator[None]:
    """The worker of the queue beside the server: both begin and end together.

    The server's own workers are forks of this process and leave through here as well; only the process that began it ends it.
    """
    command = [sys.executable, str(settings.BASE_DIR / "manage.py"), "db_worker", "--interval", "2", "--no-reload", "--verbosity", "0"]
    # What the demo set for itself, the worker has to know too: it draws documents with the shop's name and address on them.
    told = {"SHOP_NAME": settings.SHOP_NAME, "SHOP_ADDRESS": settings.SHOP_ADDRESS, "PUBLIC_URL": settings.PUBLIC_URL}
    worker = subprocess.Popen(command, stdin=subprocess.DEVNULL, env=os.environ | told)  # noqa: S603  # nothing in it comes from outside
    begun_by = os.getpid()
    try:
        yield
    finally:
        if os.getpid() == begun_by:
            worker.terminate()
            try:
                worker.wait(STOPPED_WITHIN_S)
            except subprocess.TimeoutExpired:
                worker.kill()
