"""Labels as scanners and cameras bring them: wedge with prefix and suffix, GS1 with its separator, camera, picture, and what is heard."""

from __future__ import annotations

import re
import shutil
import sqlite3

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Page, expect

from tests.browser.conftest import TABLET, TABLET_UPRIGHT
from tests.browser.test_main_job import axe_clean

pytestmark = pytest.mark.browser

GTIN = "09506000134352"
HEARD = """
document.addEventListener("answered", (event) => {
  const heard = JSON.parse(sessionStorage.getItem("heard") ?? "[]");
  sessionStorage.setItem("heard", JSON.stringify([...heard, event.detail]));
});
navigator.vibrate = () => true;
"""


def sign_on(page: Page) -> Page:
    page.goto("/make/sign-on/")
    page.locator("#id_identifier").fill("B-2001")
    page.keyboard.press("Enter")
    page.locator("#id_secret").fill("582046")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="What is to be made")).to_be_visible()
    return page


def start_batch(page: Page) -> None:
    """A batch of two pieces of whatever the tool AP-102 still has to make."""
    page.goto("/make/?tool=AP-102")
    page.locator("a.choice[href*='/make/start/']").first.click()
    page.locator("#id_quantity").fill("2")
    page.get_by_role("button", name="Start the batch").click()
    expect(page.get_by_role("heading", name=re.compile("Scan:"))).to_be_visible()


def type_burst(page: Page, text: str, *, end: str = "Enter") -> None:
    """As a scanner types: the separator as Ctrl and ]."""
    for part in re.split("(\x1d)", text):
        if part == "\x1d":
            page.keyboard.press("Control+]")
        elif part:
            page.keyboard.type(part)
    if end:
        page.keyboard.press(end)


def heard(page: Page) -> list[str]:
    told = page.evaluate("JSON.parse(sessionStorage.getItem('heard') ?? '[]')")
    return [f"{one['answer']}{' sound' if one['sounded'] else ''}{' buzz' if one['vibrated'] else ''}" for one in told]


def picture_of(text: str, symbol: str, scale: int = 5) -> np.ndarray:
    made = zxingcpp.create_barcode(text, getattr(zxingcpp.BarcodeFormat, symbol))
    return np.array(made.to_image(scale=scale, add_quiet_zones=True))


@pytest.fixture
def suppliers_label(server):
    """The store has entered what the supplier's label of a reel says. Undone afterwards: the demo is shared."""
    with sqlite3.connect(server.data / "shop.sqlite3", timeout=20) as database:
        database.execute("UPDATE shop_terminallot SET supplier_lot = '7Q41' WHERE lot_number = 'TL-26-1131'")
        database.execute("UPDATE shop_terminal SET gtin = ? WHERE part_number = 'RX-48'", (GTIN,))
    database.close()
    return "TL-26-1131"


def test_scanner_that_types(open_as, shoot, suppliers_label):
    page = open_as(TABLET)
    page.add_init_script(HEARD)
    sign_on(page)
    page.evaluate("localStorage.setItem('tablet', JSON.stringify({gap: 250}))")  # a test types slower than a scanner
    start_batch(page)

    type_burst(page, f"]d201{GTIN}107Q41\x1d3025")
    expect(page.locator("[data-answer=yes]")).to_contain_text("TL-26-1131")
    expect(page.locator("[data-answer]")).to_contain_text("That is a reel of terminals, and it is taken. The tool is still to come")
    axe_clean(page)
    shoot(page, "make-scan-out-of-turn")

    type_burst(page, "B-2001")
    expect(page.locator("[data-answer=no]")).to_contain_text("is a person's badge")

    page.get_by_role("button", name="This tablet").click()
    page.locator("[data-tablet=vibration]").uncheck()
    page.get_by_text("Try your scanner").click()
    page.locator("[data-printed]").fill("AP-102")
    page.locator("[data-scanner-try]").focus()
    type_burst(page, "~AP-102#")
    expect(page.locator("[data-tried]")).to_contain_text("After it: #")
    axe_clean(page)
    shoot(page, "make-tablet-dialog")
    page.get_by_role("button", name="Use it so on this tablet").click()
    page.get_by_role("button", name="Done").click()

    type_burst(page, "~AP-102#")
    expect(page.locator("[data-answer=yes]")).to_contain_text("AP-102")
    type_burst(page, "~AP-102#")
    expect(page.locator("[data-answer=yes]")).to_contain_text("already proven")

    page.get_by_role("button", name="This tablet").click()
    page.locator("[data-tablet=sound]").uncheck()
    page.get_by_role("button", name="Done").click()
    type_burst(page, "~NOPE-1#", end="")  # its suffix alone ends it too
    expect(page.locator("[data-answer=no]")).to_contain_text("NOPE-1 is not a tool")
    page.wait_for_function("JSON.parse(sessionStorage.getItem('heard') ?? '[]').length >= 6")  # the sound follows the words
    # The badge at the sign-on is the first of them.
    assert heard(page) == ["yes sound buzz", "yes sound buzz", "no sound buzz", "yes sound", "yes sound", "no"]


@pytest.mark.parametrize(("symbol", "text"), [("QRCode", "AP-102"), ("DataMatrix", "AP-102"), ("Code128", "AP-102")])
def test_picture_of_a_code(open_as, tmp_path, symbol, text):
    page = sign_on(open_as(TABLET_UPRIGHT))
    Image.fromarray(picture_of(text, symbol)).save(tmp_path / "code.png")

    page.locator("[data-camera]").click()
    expect(page.locator("[data-camera-state]")).to_contain_text("Take a picture of the code")  # this machine has no camera
    if symbol == "QRCode":
        axe_clean(page)
        Image.fromarray(np.full((300, 300), 255, np.uint8)).save(tmp_path / "nothing.png")
        page.locator("[data-picture]").set_input_files(tmp_path / "nothing.png")
        expect(page.locator("[data-camera-state]")).to_contain_text("No code was found")
    page.locator("[data-picture]").set_input_files(tmp_path / "code.png")

    page.wait_for_url("**/make/?tool=AP-102")


def film(path, picture: np.ndarray) -> None:
    """A film in which nothing moves: the picture in the middle of a grey field, as the fake camera shows it."""
    frame = np.full((480, 640), 170, np.uint8)
    top, left = (480 - picture.shape[0]) // 2, (640 - picture.shape[1]) // 2
    frame[top : top + picture.shape[0], left : left + picture.shape[1]] = picture
    colour = np.full(480 * 640 // 2, 128, np.uint8)
    with path.open("wb") as file:
        file.write(b"YUV4MPEG2 W640 H480 F10:1 Ip A1:1 C420jpeg\n")
        for _ in range(3):
            file.write(b"FRAME\n" + frame.tobytes() + colour.tobytes())


def test_live_camera(browser, server, tmp_path):
    film(tmp_path / "label.y4m", picture_of("AP-102", "Code128", scale=2))
    filming = browser.browser_type.launch(
        executable_path=shutil.which("chromium") or shutil.which("chromium-browser"),
        args=[
            "--no-sandbox",
            "--disable-gpu",
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-video-capture={tmp_path / 'label.y4m'}",
        ],
    )
    page = sign_on(filming.new_context(viewport=TABLET, base_url=server.url).new_page())
    page.locator("[data-camera]").click()
    page.wait_for_url("**/make/?tool=AP-102")

    assert page.evaluate("document.querySelector('#camera').open") is False
    filming.close()
