"""The floor pages that a smooth first piece does not lead through: enrolment, turning down, a cross-section, a signal, a batch's end."""

from __future__ import annotations

import json

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import TABLET
from tests.browser.test_floor_use import JONAS, faults, sign_on
from tests.browser.test_main_job import axe_clean

pytestmark = pytest.mark.browser

# Through the same acts as the pages; only the cross-section is asked for behind the back of a sheet that is released already.
PREPARE = """
import json
from inspection.acts.samples import start_sample
from inspection.models import Batch, SampleKind
from records.demo.story import hand, open_job, planned_and_released
from records.demo.walk import conclude, measure, run_batch, sample_at, set_up
from shop.clock import now
from shop.jobs import Termination
from shop.jobs import Customer
jonas, ines = hand("jonas"), hand("ines")
job = open_job(number="J-9002", customer=Customer.objects.get(code="OSTMAR"), part_number="LS-9002", part_name="Bell harness",
               drawing="LS-9002-D", drawing_revision="A", quantity=400, by=hand("mira").person, at=now())
planned = planned_and_released(job, "RX-63", ["W050-BK", "W075-BU"], "AP-103", sample_every=50, tell=lambda text: None)
codes = ["AP-103", "TL-26-1112", "WL-26-0420", "WL-26-0412", "MIC-11", "CAL-21", "PUL-31"]
def first(batch):
    sample = start_sample(batch=batch, kind="first piece", at_count=5, by=jonas.person, at=now())
    measure(sample, jonas, now)
    return sample
waits = set_up(planned, codes, 50, jonas, now)
try:
    conclude(first(waits), jonas, now)
except ValueError:
    pass  # it waits for an inspector
closed = run_batch(planned, codes, 20, jonas, now, ines)
closing = set_up(planned, codes, 20, jonas, now)
sample_at(closing, SampleKind.FIRST_PIECE, 5, jonas, now, ines)
sample_at(closing, SampleKind.LAST_PIECE, 20, jonas, now, ines)
cut = set_up(planned, codes, 20, jonas, now)
first(cut)
long_run = Batch.objects.get(number="J-1004-S1-B01")
sample_at(long_run, SampleKind.IN_PROCESS, 1355, jonas, now, heights=["1.655"])
Termination.objects.filter(pk=planned.pk).update(cross_sections=1)
print(json.dumps([waits.number, closed.number, closing.number, cut.number]))
"""


def test_pages_beside_the_smooth_way_fit_every_tablet(open_as, shoot, server):
    prepared = server.manage("shell", "-v0", "-c", PREPARE)
    assert prepared.returncode == 0, prepared.stderr
    waits, closed, closing, cut = json.loads(prepared.stdout.splitlines()[-1])
    page = open_as(TABLET)
    found = []

    def look(name: str, heading: str) -> None:
        expect(page.get_by_role("heading", name=heading).first).to_be_visible()
        axe_clean(page)
        found.extend(faults(page, name))
        shoot(page, f"make-{name}")

    page.goto("/make/enrol/")
    look("enrol", "Enrol this tablet")
    page.goto("/make/sign-on/")
    sign_on(page, JONAS)
    page.goto(f"/make/batch/{waits}/")
    look("inspector", "An inspector looks and signs")
    page.get_by_role("link", name="Turn it down").click()
    look("turn-down", "Why is this first piece turned down?")
    page.goto(f"/make/batch/{cut}/sample/1/cross-section/")
    look("cross-section", "Cross-section 1")
    expect(page.locator(".pictured svg")).to_have_count(2)
    page.goto(f"/make/batch/{closing}/")
    look("close", "What became of the pieces?")
    page.goto(f"/make/batch/{closed}/closed/")
    look("closed", "Batch closed")
    page.goto(f"/make/batch/{waits}/readings/")
    look("readings", "Crimp heights")
    page.goto(f"/make/batch/{waits}/stop/")
    look("stop", "Stop the run: what is wrong?")
    page.goto("/make/confirm/")
    look("confirm", "Signatures given without network")
    page.goto("/make/undecided/")
    look("undecided", "What a tablet kept and what no longer fits")

    page.goto("/make/batch/J-1004-S1-B01/reaction/")
    look("reaction", "The chart has signalled")
    expect(page.get_by_role("heading", name="Reaction plan")).to_be_visible()
    page.locator("label.choice").filter(has_text="wire or stripping").click()
    page.locator("#id_text, #id_note, [name=text], [name=reaction]").first.fill("Stripper blade was worn; replaced.")
    page.get_by_role("button", name="Record the reaction").click()
    expect(page.get_by_role("heading", name="Running")).to_be_visible()
    assert found == []
