"""Values from the gauges themselves: a serial port, a gauge that types, the simulated one; and the bar that moves with the value."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, TABLET, TABLET_UPRIGHT
from tests.browser.test_main_job import axe_clean
from tests.browser.test_scanning import sign_on, type_burst

pytestmark = pytest.mark.browser

VECTORS = json.loads((Path(__file__).parent.parent / "shop" / "vectors" / "gauge_lines.json").read_text(encoding="utf-8"))

# A port with a real stream behind it: window.cable.say(text) is what the gauge sends, pull() is the cable pulled.
FAKE_PORT = """
(() => {
  const make = () => {
    const port = new EventTarget();
    const open = () => {
      port.readable = new ReadableStream({ start: (controller) => { port.controller = controller; } });
      port.writable = new WritableStream({ write: (bytes) => { cable.asked += new TextDecoder().decode(bytes); } });
    };
    port.getInfo = () => ({ usbVendorId: 1, usbProductId: 2 });
    port.open = async (options) => { cable.options = options; open(); };
    port.close = async () => {};
    return port;
  };
  const port = make();
  globalThis.cable = {
    asked: "",
    say: (text) => port.controller.enqueue(new TextEncoder().encode(text)),
    pull: () => { pulled = true; port.controller.error(new Error("gone")); },
  };
  let pulled = false; // until the page is loaded again: it is not among the ports meanwhile
  const allowed = () => !pulled && sessionStorage.getItem("allowed") !== null;
  Object.defineProperty(navigator, "serial", { value: {
    requestPort: async () => { sessionStorage.setItem("allowed", "1"); return port; },
    getPorts: async () => (allowed() ? [port] : []),
  } });
})();
"""


def first_piece(page: Page) -> None:
    """A batch with its set-up proven, at the first value of its first piece."""
    page.goto("/make/?tool=AP-102")
    page.locator("a.choice[href*='/make/start/']").first.click()
    page.locator("#id_quantity").fill("8")
    page.get_by_role("button", name="Start the batch").click()
    for code in ("AP-102", "TL-26-1131", "WL-26-0412", "MIC-11", "CAL-21", "PUL-31"):
        page.locator("#id_code").fill(code)
        page.get_by_role("button", name="Check this label").click()
        expect(page.locator(".verdict.large")).to_contain_text(re.compile(f"{code}|six parts"))
    page.get_by_role("link", name="Make the first piece").click()
    page.locator("#id_at_count").fill("4")
    page.locator("button.primary[form=answer]").click()
    expect(page.get_by_role("heading", name=re.compile("Crimp height, piece 1"))).to_be_visible()


def heading(page: Page, words: str) -> None:
    expect(page.get_by_role("heading", name=re.compile(words))).to_be_visible()


def test_serial_gauge_simulated_gauge_and_live_bar(open_as, shoot):
    page = open_as(TABLET)
    page.add_init_script(FAKE_PORT)
    sign_on(page)
    first_piece(page)
    state = page.locator("[data-device-state]")
    expect(state).to_have_text("is not connected.")

    page.locator("#id_text").press_sequentially("13.05", delay=60)
    expect(page.locator("[data-provisional]")).to_contain_text("is hard to believe")
    expect(page.locator("[data-provisional]")).to_contain_text("1.305")
    page.locator("#id_text").fill("")
    page.locator("#id_text").press_sequentially("1.2", delay=60)
    expect(page.locator("[data-provisional]")).to_contain_text("would not conform")
    page.locator("#id_text").press_sequentially("95", delay=60)
    expect(page.locator("[data-outcome=conforms]")).to_be_visible()
    expect(page.locator("[data-live-mark]")).to_contain_text("1.295")
    axe_clean(page)
    shoot(page, "make-live-bar")
    page.locator("#id_text").fill("")

    page.get_by_role("button", name="Connect the gauge").click()
    expect(state).to_have_text("is connected: press its key.")
    assert page.evaluate("cable.options") == {"baudRate": 9600, "dataBits": 8, "parity": "none", "stopBits": 1}
    # A line that arrives in two pieces, and the gauge that goes on sending while the piece is still on its anvil: one reading.
    page.evaluate("cable.say('1.30'); cable.say('1 mm\\r\\n' + '1.301 mm\\r\\n'.repeat(8))")
    heading(page, "Crimp height, piece 2")
    expect(page.locator(".last-answer")).to_contain_text("1.301 mm")
    page.wait_for_timeout(800)
    heading(page, "Crimp height, piece 2")
    page.evaluate("cable.say('12.5 N\\r\\n')")
    expect(state).to_contain_text("sends another unit than is asked here: N")
    page.wait_for_timeout(800)
    page.evaluate("for (const one of [1.1, 1.25, 1.298, 1.298, 1.298]) cable.say(`${one} mm\\r\\n`)")
    heading(page, "Crimp height, piece 3")
    expect(page.locator(".last-answer")).to_contain_text("1.298 mm")
    page.evaluate("cable.pull()")
    expect(state).to_contain_text("is gone: look at its cable")

    page.goto(page.url)
    expect(state).to_have_text("is connected: press its key.")  # the port was allowed before
    for piece in (4, 5):
        page.get_by_role("button", name="Good piece").click()
        heading(page, f"Crimp height, piece {piece}")
    page.get_by_role("button", name="Good piece").click()
    heading(page, "Crimp width")

    # The caliper types. The focus is on a button; a label scanned by mistake is no value.
    page.evaluate("localStorage.setItem('tablet', JSON.stringify({gap: 250}))")
    page.get_by_role("button", name="This tablet").focus()
    type_burst(page, "AP-102")
    expect(state).to_contain_text("That was a label, not a value")
    expect(page.locator("#id_text")).to_have_value("")
    type_burst(page, "2.02")
    heading(page, "Insulation crimp height")
    shown = page.request.get(page.url.split("/sample/")[0] + "/readings/").text()
    assert "sent by the gauge" in shown


@pytest.mark.parametrize("viewport", [TABLET_UPRIGHT])
def test_the_same_value_again_in_a_correction(open_as, viewport):
    page = sign_on(open_as(viewport))
    first_piece(page)
    page.get_by_role("button", name="Good piece").click()
    heading(page, "Crimp height, piece 2")
    page.get_by_role("link", name="Correct").first.click()
    page.get_by_role("button", name="The same value again").click()
    expect(page.locator("#id_text")).to_have_value(re.compile(r"1\.\d{3}"))
    expect(page.locator("#id_reason")).to_be_focused()
    page.locator("#id_reason").fill("another piece was measured")
    page.get_by_role("button", name="Record the correction").click()
    heading(page, "Crimp height, piece 2")
    assert min(box["height"] for box in [key.bounding_box() for key in page.locator(".floor-answer [data-key]").all()]) >= 64


def test_hand_that_gets_faster_is_no_gauge(open_as):
    page = open_as(TABLET)
    sign_on(page)
    first_piece(page)

    page.locator("#id_text").press_sequentially("1.", delay=120)
    type_burst(page, "297")

    heading(page, "Crimp height, piece 2")
    expect(page.locator(".last-answer")).to_contain_text("1.297 mm")


def test_tablet_reads_lines_as_the_server_does(open_as):
    page = open_as(DESK)
    page.goto("/make/sign-on/")
    address = page.evaluate("[...document.scripts].find((one) => one.type === 'module').src")
    found = page.evaluate(
        """async ([shop, vectors]) => {
          const source = await (await fetch(shop)).text();
          const trying = new URL(source.match(/"(\\.\\/devices\\/trying[^"]*)"/)[1], shop).href;
          const line = new URL((await (await fetch(trying)).text()).match(/"(\\.\\/line[^"]*)"/)[1], trying).href;
          const { readLine } = await import(line);
          return vectors.map((one) => readLine(one.line, one));
        }""",
        [address, VECTORS],
    )
    assert found == [{"rule": v["rule"]} if "rule" in v else {"text": v["text"], "unit": v["is"]} for v in VECTORS]


def test_line_is_tried_out_at_the_desk(open_as):
    page = open_as(DESK)
    page.goto("/sign-in/")
    page.get_by_label("User name").fill("kari")
    page.get_by_label("Password").fill("four-copper-lamps-7")
    page.get_by_role("button", name="Sign in").click()
    page.goto("/shop/gauge-outputs/")
    page.get_by_role("link", name="micrometer cable").first.click()
    page.get_by_role("link", name=re.compile("Change|Edit")).first.click()
    page.locator("[data-try-line]").fill("1,402 mm")
    expect(page.locator("[data-try-answer]")).to_have_text("It reads: 1.402 mm")
    page.locator("[data-try-line]").fill("AP-102")
    expect(page.locator("[data-try-answer]")).to_have_text("The description above does not read this line.")
    axe_clean(page)
