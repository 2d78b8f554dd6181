"""A first piece on a tablet, as few touches as it takes: how many, and how long from a touch to the next question on the screen.

Run by hand: .venv/bin/pytest -n0 -s tests/benchmarks/bench_floor.py

The times are taken in the page: from sending a form until the answer is laid out. The baseline is a bare static file of the same server,
fetched by the same page and laid out the same way, in the same run: only the ratio says something about the program.
"""

from __future__ import annotations

import re
import statistics

from tests.browser.conftest import TABLET, browser, open_as, server  # noqa: F401  # fixtures
from tests.browser.test_floor_use import JONAS, SCANS, sign_on

WATCH = """(() => {
  window.answers = [];
  let sent = null;
  addEventListener("submit", () => (sent = performance.now()), { capture: true });
  addEventListener("htmx:afterSettle", () => requestAnimationFrame(() => {
    if (sent !== null) window.answers.push(performance.now() - sent);
    sent = null;
  }));
})();"""
BARE = """async (address) => {
  const times = [];
  for (let n = 0; n < 40; n += 1) {
    const begin = performance.now();
    await (await fetch(`${address}?${n}`, { cache: "no-store" })).text();
    await new Promise(requestAnimationFrame);
    times.push(performance.now() - begin);
  }
  return times;
}"""


class Hands:
    """Counts what a person does: touches, figures that would be touched on the keypad, scans, values that a gauge sends."""

    def __init__(self, page):
        self.page, self.touches, self.figures, self.scans, self.sent = page, 0, 0, 0, 0

    def _wait(self, do):
        key = self.page.locator("[name=act_key]").first
        before = key.input_value() if key.count() else ""
        do()
        if before:
            self.page.wait_for_function("(old) => (document.querySelector('[name=act_key]')?.value ?? '') !== old", arg=before)
        else:
            self.page.wait_for_load_state()

    def touch(self, place):
        self.touches += 1
        self._wait(place.click)

    def mark(self, place):
        self.touches += 1
        place.click()

    def send(self, text, *, scan=False):
        """A scanner or a gauge types and ends with Enter."""
        self.scans, self.sent, self.figures = self.scans + scan, self.sent + (not scan), self.figures + (0 if scan else len(text) + 1)

        def typed():
            self.page.keyboard.type(text)
            self.page.keyboard.press("Enter")

        self._wait(typed)


def test_first_piece(open_as):  # noqa: F811  # a fixture
    page = open_as(TABLET)
    page.add_init_script(WATCH)
    page.goto("/make/sign-on/")
    sign_on(page, JONAS)
    hands = Hands(page)
    hands.touch(page.locator("#work .choice", has_text=re.compile("Lead 1/A.*J-1002", re.DOTALL)).first)
    page.locator("#id_quantity").fill("20")
    hands.touch(page.get_by_role("button", name="Start the batch"))
    for code in SCANS:
        page.locator("#id_code").focus()
        hands.send(code, scan=True)
    hands.touch(page.get_by_role("link", name="Make the first piece"))
    hands.touch(page.get_by_role("button", name="Start measuring"))
    while "/overview/" not in page.url:
        if "/look/" in page.url:
            hands.touch(page.get_by_role("button", name="Accept all not marked"))
            page.wait_for_url(re.compile("/overview/"))
            break
        limits = page.locator(".target strong").inner_text()
        numbers = [float(one) for one in re.findall(r"\d+(?:\.\d+)?", limits)]
        if "/pull/" in page.url:
            hands.mark(page.locator(".modes .choice").nth(1))
            page.locator("#id_text").focus()
        hands.send(f"{sum(numbers) / 2:.3f}" if "to" in limits else f"{numbers[0] + 20:.1f}")
    page.locator("#id_secret").focus()
    hands.send(JONAS[1])
    page.wait_for_url(re.compile("/inspector/"))

    answers = page.evaluate("window.answers")
    bare = statistics.median(page.evaluate(BARE, "/static/shop/icons/mark.svg"))
    middle, slow = statistics.median(answers), sorted(answers)[int(len(answers) * 0.95) - 1]
    print(
        f"\nfirst piece with a set-up of {hands.scans} scans and {hands.sent - 1} values: {hands.touches} touches when gauges send and "
        f"scanners type, {hands.touches + hands.figures} when every figure is touched, PIN included"
        f"\ntouch to answer: median {middle:.0f} ms, 95 of 100 within {slow:.0f} ms, {len(answers)} answers; a bare static file of the"
        f" same server {bare:.0f} ms: {middle / bare:.1f} times"
    )
    assert len(answers) >= hands.sent
