"""The floor pages as they are used: on tablets of eight to thirteen inches, in gloves, by the keyboard alone, by several people."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import TABLET
from tests.browser.test_main_job import axe_clean

pytestmark = pytest.mark.browser

SIZES = [(800, 1280), (1280, 800), (1024, 768), (820, 1180), (1366, 1024)]
SMALLEST = 48
JONAS, INES, QUIRIN = ("B-2001", "582046"), ("B-3001", "405862"), ("B-3002", "618294")
SCANS = ("AP-102", "TL-26-1131", "WL-26-0412", "MIC-11", "CAL-21", "PUL-31")

# What a finger has to hit, what has to be in view, and what must not be cut off. Links inside a sentence are read, not hit in gloves.
FAULTS = """(smallest) => {
  const shown = (one) => {
    const box = one.getBoundingClientRect();
    return box.width > 0 && box.height > 0 && getComputedStyle(one).visibility !== "hidden"
      && !one.closest("dialog:not([open]), .visually-hidden, .skip, figure");
  };
  const found = new Set();
  const targets = ".floor :is(a[href], button, input:not([type=hidden], [type=file]), select, summary)";
  for (const one of document.querySelectorAll(targets)) {
    if (!shown(one)) continue;
    if (one.matches("p > a") && getComputedStyle(one).display === "inline") continue;
    const box = (one.matches("[type=radio], [type=checkbox]") ? one.closest("label") ?? one : one).getBoundingClientRect();
    if (box.width < smallest - 0.5 || box.height < smallest - 0.5) {
      found.add(`${one.id || one.name || one.textContent.trim().slice(0, 30)}: ${Math.round(box.width)} x ${Math.round(box.height)}`);
    }
  }
  const primary = document.querySelector(".floor-actions .primary")?.getBoundingClientRect();
  if (primary && (primary.bottom > innerHeight + 1 || primary.right > innerWidth + 1)) found.add("the large action is out of view");
  if (document.documentElement.scrollWidth > innerWidth) found.add("the page scrolls sideways");
  const question = document.querySelector(".floor-question");
  if (question && question.scrollWidth > question.clientWidth + 1) found.add("the question is cut off");
  return [...found];
}"""

FOCUSED = """() => {
  const one = document.activeElement, within = one.closest("label") ?? one;
  const width = (of) => getComputedStyle(of).outlineStyle === "none" ? 0 : parseFloat(getComputedStyle(of).outlineWidth);
  const outline = one === document.body ? 9 : Math.max(width(one), width(within));
  return [within.textContent.trim().replace(/\\s+/g, " "), outline, one.outerHTML.slice(0, 80)];
}"""


def faults(page: Page, name: str) -> list[str]:
    """What does not fit at any of the sizes; the page is left at the size it had."""
    before, found = page.viewport_size, []
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        found += [f"{name} at {width} x {height}: {fault}" for fault in page.evaluate(FAULTS, SMALLEST)]
    page.set_viewport_size(before)
    return found


def sign_on(page: Page, person: tuple[str, str]) -> None:
    """From wherever: badge, Enter, PIN, Enter."""
    # What the page before still asks for in the background would find its session gone: the server says so in the console.
    page.wait_for_load_state("networkidle")
    expect(page.locator("#id_identifier")).to_be_focused()
    page.keyboard.type(person[0])
    page.keyboard.press("Enter")
    expect(page.locator("#id_secret")).to_be_focused()
    page.wait_for_load_state("networkidle")  # nobody types within the blink in which the page settles
    page.keyboard.type(person[1], delay=15)
    expect(page.locator("#id_secret")).to_have_value(person[1])
    page.keyboard.press("Enter")
    expect(page.locator("#id_secret")).to_have_count(0)


def tab_to(page: Page, words: str) -> None:
    """Press Tab until what carries these words has the focus; wherever it is, it has to be seen."""
    for _press in range(60):
        page.keyboard.press("Tab")
        text, outline, what = page.evaluate(FOCUSED)
        assert outline >= 2, f"the focus on {what} is not seen"
        if re.search(words, text):
            return
    pytest.fail(f"Tab does not lead to {words}")


def enter(page: Page, text: str) -> None:
    """Type into what has the focus, and Enter; wait until the next question stands there."""
    key = page.locator("[name=act_key]").first
    before = key.input_value() if key.count() else ""
    page.keyboard.type(text)
    page.keyboard.press("Enter")
    if before:
        page.wait_for_function("(old) => (document.querySelector('[name=act_key]')?.value ?? '') !== old", arg=before)


def set_up_by_keyboard(page: Page, found: list[str]) -> None:
    """From the station to the proven set-up of a new batch."""
    page.goto("/make/sign-on/")
    found += faults(page, "sign-on")
    axe_clean(page)
    sign_on(page, JONAS)
    found += faults(page, "station")
    axe_clean(page)
    page.locator("#id_code").wait_for()
    page.keyboard.type("J-1002-S1")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="J-1002-S1")).to_be_visible()
    tab_to(page, "^Lead 1/A")
    page.keyboard.press("Enter")
    expect(page.locator("#id_quantity")).to_be_visible()
    found += faults(page, "start")
    expect(page.locator("#id_quantity")).to_be_focused()
    page.keyboard.press("Control+a")
    enter(page, "30")
    expect(page.locator("#id_code")).to_be_focused()
    found += faults(page, "set-up")
    for code in SCANS:
        page.locator("#id_code").wait_for()
        enter(page, code)
    expect(page.locator(".verdict.large")).to_contain_text("All six parts hold together")
    found += faults(page, "set-up proven")
    tab_to(page, "Make the first piece")
    page.keyboard.press("Enter")


def measure_by_keyboard(page: Page, found: list[str], shoot) -> None:
    """Every question of the first piece, to the overview."""
    expect(page.locator("#id_at_count")).to_be_focused()
    found += faults(page, "count")
    page.keyboard.press("Control+a")
    enter(page, "5")
    seen: set[str] = set()
    for _question in range(30):
        page.wait_for_load_state()
        if "/overview/" in page.url:
            return
        name = page.locator("h1").inner_text()
        kind = re.sub(r",.*", "", name)
        if kind not in seen:
            seen.add(kind)
            found += faults(page, kind)
            axe_clean(page)
            shoot(page, f"floor-{kind.lower().replace(' ', '-')}")
            expect(page.locator(".guide [aria-current=step]")).to_have_count(1)
        if "/look/" in page.url:
            tab_to(page, "Accept all not marked")
            page.keyboard.press("Enter")
            page.wait_for_url(re.compile("/overview/"))
            continue
        limits = page.locator(".target strong").inner_text()
        numbers = [float(one) for one in re.findall(r"\d+(?:\.\d+)?", limits)]
        value = f"{sum(numbers) / 2:.3f}" if "to" in limits else f"{numbers[0] + 20:.1f}"
        expect(page.locator("#id_text")).to_be_focused()
        if "/pull/" in page.url:
            page.keyboard.type(value)
            page.keyboard.press("Enter")  # the way it parted is still asked for
            tab_to(page, "(?i)^wire broke at crimp$")
            enter(page, " ")
        else:
            enter(page, value)
    pytest.fail(f"the first piece does not end: {page.url}")


def test_first_piece_by_the_keyboard_alone_fits_every_tablet(open_as, shoot):
    page, found = open_as(TABLET), []
    set_up_by_keyboard(page, found)
    measure_by_keyboard(page, found, shoot)
    found += faults(page, "overview")
    axe_clean(page)
    page.locator("#id_secret").focus()
    enter(page, JONAS[1])
    expect(page.locator("#id_identifier")).to_be_focused()
    found += faults(page, "inspector")
    page.keyboard.type(INES[0])
    page.keyboard.press("Enter")
    expect(page.locator("#id_secret")).to_be_focused()
    enter(page, INES[1])
    expect(page.get_by_role("link", name="Take a sample now")).to_be_visible()
    found += faults(page, "run")
    axe_clean(page)
    shoot(page, "floor-run")
    number = re.search("/batch/([^/]+)/", page.url)[1]
    for name in ("stop", "change", "readings"):
        page.goto(f"/make/batch/{number}/{name}/")
        found += faults(page, name)
        axe_clean(page)
        expect(page.locator(".due-bar")).to_contain_text("Next sample at")
    page.goto(f"/make/batch/{number}/stop/")
    page.locator("#id_at_count").fill("12")
    page.locator("[name=reason]").fill("burr at the cut-off tab")
    page.locator("button.primary[form=answer]").click()
    expect(page.get_by_role("heading", name="On hold")).to_be_visible()
    expect(page.locator(".arithmetic")).to_contain_text("12")
    found += faults(page, "hold")
    axe_clean(page)
    shoot(page, "floor-hold")
    page.get_by_role("link", name=re.compile("Decide")).click()
    found += faults(page, "decide")
    axe_clean(page)
    page.keyboard.press("Escape")
    page.get_by_role("link", name="Help").click()
    expect(page.locator("#help-here")).to_contain_text("arithmetic")
    page.keyboard.press("Escape")
    expect(page.locator("#help-here")).to_be_hidden()
    page.goto("/make/")  # everything was sent: nothing of it is half done
    expect(page.locator("#work")).to_be_visible()
    expect(page.locator("[data-draft-list]")).to_be_hidden()
    assert found == []


def test_lock_keeps_what_was_typed_and_shows_it_to_nobody_else(open_as, shoot):
    page = open_as(TABLET)
    page.clock.install()
    page.goto("/make/sign-on/")
    sign_on(page, JONAS)
    page.goto("/make/start/4/")
    typed = page.locator("#id_quantity")
    typed.fill("41")
    page.clock.fast_forward(270_000)
    expect(page.locator("[data-lock-countdown]")).to_contain_text("Locks in")
    page.clock.fast_forward(40_000)
    cover = page.locator("dialog[data-lock]")
    expect(cover).to_be_visible()
    axe_clean(page)
    shoot(page, "floor-locked")
    page.keyboard.press("Escape")
    expect(cover).to_be_visible()

    page.locator("#id_unlock").fill("111111")
    page.keyboard.press("Enter")
    expect(page.locator("[data-lock-answer]")).to_contain_text("do not go together")
    page.locator("#id_unlock").fill(JONAS[1])
    page.keyboard.press("Enter")
    expect(cover).to_be_hidden()
    expect(typed).to_have_value("41")

    # A reload takes no cover off: not before the server heard of the lock, and not after.
    address = page.url
    page.route("**/make/lock/", lambda route: route.fulfill(status=204))
    page.clock.fast_forward(400_000)
    expect(cover).to_be_visible()
    page.goto(address)
    expect(cover).to_be_visible()
    page.unroute("**/make/lock/")
    page.locator("#id_unlock").fill(JONAS[1])
    page.keyboard.press("Enter")
    expect(cover).to_be_hidden()
    page.goto(address)
    expect(page.locator("#id_quantity")).to_be_visible()
    expect(cover).to_be_hidden()
    with page.expect_response("**/make/lock/"):
        page.clock.fast_forward(400_000)
    expect(cover).to_be_visible()
    page.goto(address)
    expect(page.locator("#id_secret")).to_be_visible()
    page.get_by_role("link", name="Another badge").click()
    sign_on(page, QUIRIN)
    assert page.url == address
    expect(page.locator("[data-draft-offer]")).to_be_hidden()
    assert "41" not in page.locator(".floor-question").inner_text()
    page.locator(".strip-person").click()
    sign_on(page, JONAS)
    assert page.url == address
    expect(page.locator("[data-draft-offer]")).to_contain_text("41")
    axe_clean(page)
    page.get_by_role("button", name="Put it back").click()
    expect(page.locator("#id_quantity")).to_have_value("41")
    page.goto("/make/")
    expect(page.locator("[data-draft-list]")).to_contain_text("pieces")
    for contrast in ("more", "no-preference"):
        page.emulate_media(contrast=contrast)
        axe_clean(page)
