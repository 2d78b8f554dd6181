"""The tablet in German: words, decimal signs on the bar and in what is typed, and a record that keeps its point."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import TABLET
from tests.browser.test_main_job import axe_clean

pytestmark = pytest.mark.browser


def test_sample_is_measured_in_german(open_as, shoot, server):
    page = open_as(TABLET, locale="de-DE")
    page.goto("/make/sign-on/")
    page.locator("#id_identifier").fill("B-2001")
    page.get_by_role("button", name="Weiter zur PIN").click()
    page.locator("#id_secret").fill("582046")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Was zu fertigen ist")).to_be_visible()

    page.goto("/make/batch/J-1004-S1-B01/run/")
    expect(page.locator("figure svg, .chart svg, svg").filter(has_text="obere Grenze 1,67").first).to_be_visible()
    page.goto("/make/batch/J-1004-S1-B01/sample/new/in%20process/")
    page.locator("#id_at_count").fill("1400")
    page.get_by_role("button", name="Mit dem Messen beginnen").click()
    expect(page.locator(".target")).to_contain_text("1,57 bis 1,67 mm")
    expect(page.locator("figure.limit-bar")).to_contain_text("1,67")

    page.locator("#id_text").press_sequentially("1,622", delay=70)
    expect(page.locator("[data-live-mark]")).to_contain_text("1,622")
    expect(page.locator("[data-outcome=conforms]")).to_contain_text("entspr")
    axe_clean(page)
    shoot(page, "make-german")
    page.get_by_role("button", name="Festhalten").click()

    expect(page.locator(".last-answer")).to_contain_text("entspricht")
    newest = "from inspection.models import Reading; r = Reading.objects.latest('pk'); print(r.text, r.value.normalize())"
    kept = server.manage("shell", "-v0", "-c", newest)
    assert kept.stdout.split() == ["1.622", "1.622"], kept.stderr
