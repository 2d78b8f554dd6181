"""The real program as a process, with a database of its own, and Debian's Chromium in front of it."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

ROOT = Path(__file__).resolve().parent.parent.parent
SCREENSHOTS = ROOT / ".screenshots"
DESK, TABLET, TABLET_UPRIGHT = {"width": 1440, "height": 900}, {"width": 1024, "height": 768}, {"width": 768, "height": 1024}


# A refusal is an answer: its status is no error of the page. And axe and the screenshot bring styles that our policy refuses.
NO_FAULTS = ("status of 422", "Error Code 422", "Applying inline style violates")


@dataclass(frozen=True)
class Server:
    url: str
    data: Path

    def manage(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        """A management command on the same data."""
        return subprocess.run(
            [sys.executable, str(ROOT / "manage.py"), *arguments],
            capture_output=True,
            text=True,
            check=False,
            env=environment(self.data),
            timeout=120,
        )


def environment(data: Path) -> dict[str, str]:
    # A database of its own, whatever the other tests run on.
    return {name: value for name, value in os.environ.items() if name != "DATABASE_URL"} | {"DATA_DIR": str(data)}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """`manage.py demo`, ready: what a new user sees after the README's first command."""
    data, port = tmp_path_factory.mktemp("demo"), free_port()
    log = (data / "demo.log").open("w")
    process = subprocess.Popen(
        [sys.executable, str(ROOT / "manage.py"), "demo", "--port", str(port)],
        stdout=log,
        stderr=subprocess.STDOUT,
        env=environment(data),
        cwd=ROOT,
    )
    url = f"http://127.0.0.1:{port}"
    try:
        for _ in range(600):
            if process.poll() is not None:
                pytest.fail((data / "demo.log").read_text())
            try:
                urllib.request.urlopen(f"{url}/healthz", timeout=2).close()
                break
            except (urllib.error.URLError, ConnectionError, TimeoutError):
                time.sleep(0.5)
        else:
            pytest.fail("the demo did not answer in five minutes")
        yield Server(url, data)
    finally:
        process.terminate()
        process.wait(timeout=30)
        log.close()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        if os.environ.get("CI"):
            pytest.fail("Debian's chromium is not installed")
        pytest.skip("Debian's chromium is not installed")
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path=chromium,
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--disable-quic",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
            ],
        )
        yield started
        started.close()


@pytest.fixture
def open_as(browser: Browser, server: Server) -> Iterator[Callable[..., Page]]:
    """A page of a person's own: their cookies, their screen. What the page logs as an error fails the test."""
    contexts: list[BrowserContext] = []
    errors: list[str] = []

    def note(text: str) -> None:
        # What a tablet asks for in the background finds its session gone when another person signs on at that moment: it asks again.
        if "status of 400" in text and "/make/pack/" in text:
            return
        if not any(words in text for words in NO_FAULTS):
            errors.append(text)

    def opened(viewport: dict[str, int], **options: object) -> Page:
        context = browser.new_context(viewport=viewport, base_url=server.url, accept_downloads=True, **options)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("console", lambda m: note(f"{m.text} {m.location.get('url', '')}") if m.type == "error" else None)
        page.on("pageerror", lambda error: errors.append(str(error)))
        return page

    yield opened
    for context in contexts:
        context.close()
    assert sorted(set(errors)) == []


@pytest.fixture
def shoot() -> Callable[[Page, str], None]:
    """A screenshot to look at afterwards, in .screenshots."""
    SCREENSHOTS.mkdir(exist_ok=True)

    def take(page: Page, name: str) -> None:
        page.screenshot(path=SCREENSHOTS / f"{name}.png")

    return take
