"""A small shop's server that can be stopped, killed and started again, and a tablet in front of it."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.browser.conftest import ROOT, TABLET, environment, free_port

PIN = "482915"


@dataclass
class SmallShop:
    data: Path
    port: int = field(default_factory=free_port)
    process: subprocess.Popen[bytes] | None = None
    made: dict[str, Any] = field(default_factory=dict)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        given = {"capture_output": True, "text": True, "check": False, "env": environment(self.data), "cwd": ROOT, "timeout": 180}
        return subprocess.run([sys.executable, *arguments], **given)

    def make(self) -> None:
        done = self.run("-m", "tests.faults.small_shop")
        assert done.returncode == 0, done.stderr
        self.made = json.loads(done.stdout.strip().splitlines()[-1])

    def start(self) -> None:
        command = ["gunicorn", "tests.faults.server:application", "--bind", f"127.0.0.1:{self.port}"]
        workers = ["--worker-class", "gthread", "--workers", "1", "--threads", "4", "--log-level", "warning"]
        with (self.data / "server.log").open("ab") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", *command, *workers],
                stdout=log,
                stderr=log,
                env=environment(self.data),
                cwd=ROOT,
                start_new_session=True,  # the whole group is killed at once, as by a power cut
            )
        for _ in range(200):
            try:
                urllib.request.urlopen(f"{self.url}/healthz", timeout=2).close()
                return
            except (urllib.error.URLError, ConnectionError, TimeoutError):
                time.sleep(0.1)
        raise AssertionError((self.data / "server.log").read_text())

    def stop(self, how: int = signal.SIGTERM) -> None:
        if self.process is not None:
            if self.process.poll() is None:
                os.killpg(self.process.pid, how)
            self.process.wait(timeout=30)
            self.process = None

    def arm(self, how: str) -> None:
        (self.data / "armed").write_text(how)

    def wait_until_dead(self) -> None:
        assert self.process is not None
        self.process.wait(timeout=20)

    def ask(self, question: str, *given: object) -> list[tuple[Any, ...]]:
        """Rows of the database, read beside the server."""
        with sqlite3.connect(f"file:{self.data / 'shop.sqlite3'}?mode=ro", uri=True) as connection:
            return connection.execute(question, given).fetchall()

    def act(self, code: str) -> None:
        """A few lines through the acts, as somebody else would do them meanwhile."""
        begin = "import django; django.setup()\nfrom shop.clock import now\nfrom inspection.models import *\nfrom shop.models import *\n"
        done = subprocess.run(
            [sys.executable, "-c", begin + code],
            capture_output=True,
            text=True,
            check=False,
            env=environment(self.data) | {"DJANGO_SETTINGS_MODULE": "shop.settings"},
            cwd=ROOT,
            timeout=60,
        )
        assert done.returncode == 0, done.stderr


READINGS = """
SELECT r.characteristic, r.piece, r.text FROM inspection_reading r JOIN inspection_sample s ON s.id = r.sample_id
JOIN inspection_batch b ON b.id = s.batch_id WHERE b.number = ? ORDER BY r.id
"""
PULLS = """
SELECT p.piece, p.text FROM inspection_pulltest p JOIN inspection_sample s ON s.id = p.sample_id
JOIN inspection_batch b ON b.id = s.batch_id WHERE b.number = ? ORDER BY p.id
"""


# The pack that was asked for after this page settled is in the tablet's store.
PACK_IS_NEW = """async () => {
  const from = Date.now() - 300;
  const open = () => new Promise((go) => (indexedDB.open("floor").onsuccess = (event) => go(event.target.result)));
  for (let n = 0; n < 100; n++) {
    const database = await open();
    const asked = database.transaction("kept").objectStore("kept").get("pack");
    const kept = await new Promise((go) => (asked.onsuccess = () => go(asked.result)));
    database.close();
    if (kept && kept.at >= from) return true;
    await new Promise((go) => setTimeout(go, 50));
  }
  return false;
}"""

IN_CHARGE = """() => navigator.serviceWorker.ready.then(() => navigator.serviceWorker.controller
  || new Promise((go) => navigator.serviceWorker.addEventListener("controllerchange", go)).then(() => true)).then(() => true)"""


@dataclass
class Tablet:
    """One tablet: its storage, its network, its page."""

    shop: SmallShop
    context: BrowserContext
    page: Page

    @classmethod
    def signed_on(cls, browser: Browser, shop: SmallShop, person: str = "operator", **options: Any) -> Tablet:
        context = browser.new_context(base_url=shop.url, **({"viewport": TABLET} | options))
        context.add_cookies([{"name": "sessionid", "value": shop.made["sessions"][person], "url": shop.url}])
        page = context.new_page()
        page.set_default_timeout(10_000)
        return cls(shop, context, page)

    def ready(self, batch: str = "") -> None:
        """The batch (or the queue) on the screen, its worker in charge, its pack kept."""
        self.page.goto("/make/")
        self.page.evaluate(IN_CHARGE)
        if batch:
            self.page.goto(f"/make/batch/{batch}/")
        self.has_pack()

    def has_pack(self) -> None:
        """The newest pack was taken: nothing of this page's acts is missing in it."""
        self.page.evaluate(PACK_IS_NEW)

    def cut(self) -> None:
        self.context.set_offline(True)

    def mend(self) -> None:
        self.context.set_offline(False)

    def is_offline_page(self) -> bool:
        return self.page.locator("[data-region=question]").count() > 0

    def heading(self, text: str) -> None:
        expect(self.page.locator("h1", has_text=text)).to_be_visible()

    def all_sent(self) -> None:
        expect(self.page.locator("[data-saved] [data-word]")).to_have_text("On the server", timeout=20_000)

    def back_to_server(self) -> None:
        self.all_sent()
        self.page.get_by_role("link", name="Go on with the server").click()
        self.page.wait_for_selector("[data-outbox]", state="attached")

    # --- What a person does; the same on the server's pages and on the tablet's own ---------------------------------------------

    def start(self, count: str) -> None:
        self.page.locator("#id_at_count").fill(count)
        self.page.get_by_role("button", name="Start measuring").click()

    def record(self, text: str) -> None:
        self.page.locator("#id_text").fill(text)
        self.page.get_by_role("button", name="Record", exact=True).click()

    def pull(self, text: str) -> None:
        self.page.get_by_text("Wire broke away from crimp").click()
        self.record(text)

    def look(self) -> None:
        self.page.get_by_role("button", name="Accept all not marked").click()

    def sign(self) -> None:
        if self.is_offline_page():
            self.page.locator("#id_badge").fill("B-operator")
        else:
            self.page.locator("#id_secret").fill(PIN)
        self.page.locator("button.primary[form=answer]").click()

    def scan(self, code: str) -> None:
        self.page.locator("#id_code").fill(code)
        self.page.keyboard.press("Enter")

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name).first.click()

    def approve(self) -> None:
        if self.is_offline_page():
            self.page.locator("#id_badge").fill("B-inspector")
        else:
            self.page.locator("#id_identifier").fill("B-inspector")
            self.page.locator("#id_secret").fill(PIN)
        self.page.get_by_role("button", name="Approve the first piece").click()


FIRST_PIECE: tuple[tuple[str, str, str], ...] = (
    ("First piece", "start", "2"),
    ("Crimp height, piece 1 of 2", "record", "1.401"),
    ("Crimp height, piece 2 of 2", "record", "1.399"),
    ("Crimp width", "record", "2.05"),
    ("Insulation crimp height", "record", "2.40"),
    ("Strip length", "record", "4.1"),
    ("Pull force", "pull", "120.5"),
    ("Look at the pieces", "look", ""),
    ("First piece, at piece 2", "sign", ""),
    ("An inspector looks and signs", "approve", ""),
)
"""Every question of a first piece: its heading, what is done, and what is typed."""

VALUES = [("crimp height", 1, "1.401"), ("crimp height", 2, "1.399"), ("crimp width", 1, "2.05")]
VALUES += [("insulation crimp height", 1, "2.40"), ("strip length", 1, "4.1")]


def answer(tablet: Tablet, step: tuple[str, str, str]) -> None:
    heading, deed, typed = step
    tablet.heading(heading)
    do = getattr(tablet, deed)
    do(typed) if typed else do()
