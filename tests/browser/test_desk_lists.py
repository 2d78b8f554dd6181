"""Lists and imports at a desk: the keyboard first, what was typed is not lost, and a large file says how far it is."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.test_main_job import axe_clean, sign_in

pytestmark = pytest.mark.browser

WIDE, UPRIGHT = {"width": 1280, "height": 800}, {"width": 820, "height": 1180}
ROWS = 2500


def wires_file(count: int, *, wrong: int = 0) -> dict[str, object]:
    lines = ["part_number,size,insulation_od_mm"]
    lines += [f"ZB{number:05d},{'plenty' if number <= wrong else '0.5 mm²'},1.6" for number in range(1, count + 1)]
    return {"name": "many wires.csv", "mimeType": "text/csv", "buffer": "\n".join(lines).encode()}


def focused(page: Page) -> str:
    return str(page.evaluate("document.activeElement.textContent.trim()"))


def shoot_all(page: Page, shoot, name: str) -> None:
    for scheme in ("light", "dark"):
        for form, size in (("wide", WIDE), ("upright", UPRIGHT)):
            page.emulate_media(color_scheme=scheme)
            page.set_viewport_size(size)
            shoot(page, f"{name}-{scheme}-{form}")
    page.emulate_media(color_scheme="light")
    page.set_viewport_size(WIDE)


def test_list_is_worked_with_the_keyboard(open_as, shoot):
    page = sign_in(open_as(WIDE), "mira")
    page.goto("/shop/wires/")
    names = page.locator("table[data-rows] tbody th a").all_text_contents()

    page.keyboard.press("/")
    expect(page.locator("[data-search]")).to_be_focused()
    page.keyboard.press("ArrowDown")
    assert focused(page) == names[0]
    page.keyboard.press("ArrowDown")
    assert focused(page) == names[1]
    page.keyboard.press("ArrowUp")
    assert focused(page) == names[0]
    page.keyboard.press("End")
    assert focused(page) == names[-1]
    page.keyboard.press("Home")
    assert focused(page) == names[0]
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/shop/wires/\d+/$"))
    expect(page.get_by_role("heading", level=1)).to_contain_text(names[0])

    page.goto("/shop/wires/")
    page.keyboard.press("/")
    page.keyboard.type("nothing is called this")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"\?.*q=nothing"))
    expect(page.get_by_text("Nothing matches this sentence.")).to_be_visible()
    expect(page.get_by_role("link", name="Show all").first).to_be_visible()
    axe_clean(page)
    shoot_all(page, shoot, "list-empty")


def test_rows_are_ticked_with_the_keyboard(open_as):
    page = sign_in(open_as(WIDE), "mira")
    page.goto("/shop/terminal-lots/")
    page.keyboard.press("/")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("x")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("x")
    expect(page.locator("td.tick input:checked")).to_have_count(2)
    page.keyboard.press("x")
    expect(page.locator("td.tick input:checked")).to_have_count(1)


def test_form_asks_before_what_was_typed_is_left(open_as):
    page = sign_in(open_as(WIDE), "mira")
    page.goto("/shop/wires/new/")
    asked: list[str] = []
    page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    page.locator("[name=part_number]").fill("W-UNSAVED")
    page.locator("a.plain").first.click()
    page.wait_for_timeout(300)
    assert asked == ["beforeunload"]
    expect(page.locator("[name=part_number]")).to_have_value("W-UNSAVED")


def test_large_file_is_followed_to_its_end(open_as, shoot):
    page = sign_in(open_as(WIDE), "mira")
    page.goto("/shop/wires/import/")
    shoot_all(page, shoot, "import")

    page.locator("[name=file]").set_input_files(files=[wires_file(ROWS, wrong=3)])
    page.get_by_role("button", name="Check the file only").click()
    page.wait_for_url(re.compile(r"/shop/wires/import/\d+/$"))
    shoot_all(page, shoot, "import-run")
    axe_clean(page)
    expect(page.get_by_role("heading", name="Rows to correct")).to_be_visible(timeout=60_000)
    expect(page.get_by_text("is not a conductor size").first).to_be_visible()
    shoot_all(page, shoot, "import-refused")

    page.get_by_role("link", name="Take the corrected file").click()
    page.locator("[name=file]").set_input_files(files=[wires_file(ROWS)])
    page.get_by_role("button", name="Check the file only").click()
    page.get_by_role("button", name="Import it now").click(timeout=60_000)
    expect(page.get_by_role("heading", name="Imported", exact=True)).to_be_visible(timeout=60_000)
    expect(page.locator("dl.facts")).to_contain_text(f"{ROWS}")
    shoot_all(page, shoot, "import-done")
    axe_clean(page)

    page.goto("/shop/wires/?q=ZB&page=30")
    expect(page.get_by_text("more than 1000").first).to_be_visible()
    expect(page.locator("table[data-rows] tbody th a").first).to_have_text("ZB01451")
    shoot_all(page, shoot, "list-deep")


def test_states_by_file_are_previewed(open_as, shoot):
    page = sign_in(open_as(WIDE), "mira")
    page.goto("/shop/terminal-lots/")
    lots = page.locator("table[data-rows] tbody th a").all_text_contents()[:3]
    page.get_by_role("link", name="States by a file").click()
    page.locator("[name=file]").set_input_files(
        files=[{"name": "notice.csv", "mimeType": "text/csv", "buffer": "\n".join(["lot_number", *lots, "NO-SUCH"]).encode()}]
    )
    page.locator("[name=state]").select_option("on hold")
    page.locator("[name=state_reason]").fill("supplier's notice of loose plating")
    page.get_by_role("button", name="Preview").click()
    expect(page.get_by_role("heading", name="1 row is refused")).to_be_visible()
    expect(page.get_by_text("There is no terminal lot NO-SUCH.").first).to_be_visible()
    axe_clean(page)
    shoot_all(page, shoot, "states-file")
