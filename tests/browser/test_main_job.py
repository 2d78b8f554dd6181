"""The main job in a real browser, as different people: from a planner's sign-in to the sealed PDF in an auditor's hands."""

from __future__ import annotations

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import DESK, TABLET, TABLET_UPRIGHT

pytestmark = pytest.mark.browser

PASSWORDS = {"mira": 1, "teo": 2, "quirin": 6, "audun": 8}
JOB = "J-9001"


def sign_in(page: Page, username: str) -> Page:
    page.goto("/sign-in/")
    page.get_by_label("User name").fill(username)
    page.get_by_label("Password").fill(f"four-copper-lamps-{PASSWORDS[username]}")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("button", name="Sign out")).to_be_visible()
    return page


def axe_clean(page: Page) -> None:
    # Without its own copy of the style sheets, whose relative addresses would be asked for beside the page.
    found = Axe().run(page, options={"preload": False})
    assert found.violations_count == 0, found.generate_report()


def plan_job(page: Page, shoot) -> None:
    """A planner opens a job and writes its sheet; a misfit is refused on the way."""
    page.goto("/plan/jobs/new/")
    for label, value in {
        "Job number": JOB,
        "Customer": "BRACK",
        "Harnesses ordered": "20",
        "Harness part number": "BP-9001",
        "Harness name": "Float switch harness",
        "Drawing revision": "A",
    }.items():
        page.get_by_label(label, exact=False).first.fill(value)
    page.locator("[name=drawing]").fill("BP-9001-D")
    page.locator("form.form button.primary").click()
    page.wait_for_url(re.compile(r"/plan/jobs/\d+/"))
    page.get_by_role("button", name=re.compile("sheet", re.IGNORECASE)).first.click()
    page.wait_for_url(re.compile(r"/plan/sheets/\d+/"))
    page.get_by_role("link", name="Add a termination").first.click()

    page.get_by_label("Lead", exact=True).fill("1")
    page.get_by_label("End", exact=True).fill("A")
    page.get_by_label("Pieces", exact=True).fill("20")
    page.get_by_label("Wire", exact=True).fill("W250-RD")
    page.get_by_label("Terminal", exact=True).fill("RX-48")
    page.get_by_role("button", name="Check the fit").click()
    expect(page.locator("#fit")).to_contain_text("2.5085 mm²")
    shoot(page, "plan-misfit")

    page.get_by_label("Wire", exact=True).fill("W075-BU")
    page.get_by_role("button", name="Check the fit").click()
    expect(page.locator("#fit")).to_contain_text("AP-102")
    axe_clean(page)
    page.locator("#fit input[type=radio][value='AP-102']").check()
    page.get_by_label("An inspector countersigns the first piece").check()
    page.get_by_label("Crimp heights on the first piece").fill("3")
    page.get_by_label("Pull tests on the first piece").fill("1")
    page.get_by_label("Sample every, pieces").fill("12")
    shoot(page, "plan-termination")
    page.get_by_role("button", name="Save the termination").click()
    expect(page.get_by_role("heading", name=re.compile(f"{JOB}-S1"))).to_be_visible()
    axe_clean(page)
    shoot(page, "plan-sheet")
    page.get_by_role("button", name="Hand to review").click()
    expect(page.get_by_text("another planner or quality has to review")).to_be_visible()


def release_sheet(page: Page, shoot) -> None:
    """A second planner reads what they sign, and releases."""
    page.goto("/plan/sheets/")
    page.get_by_role("link", name=re.compile(f"{JOB}-S1")).first.click()
    page.get_by_role("link", name="Review and release").click()
    page.get_by_label("Your PIN or password").fill("111111")
    page.get_by_role("button", name="Sign and release").click()
    expect(page.get_by_text("do not go together").first).to_be_visible()
    page.get_by_label("Your PIN or password").fill("264907")
    shoot(page, "plan-release")
    page.get_by_role("button", name="Sign and release").click()
    expect(page.locator("dl.title-block")).to_contain_text("released")


def record(page: Page, value: str) -> None:
    page.locator("#id_text").fill(value)
    page.get_by_role("button", name="Record", exact=True).click()


def measure_first_piece(page: Page, shoot) -> None:
    for number, height in enumerate(("1.301", "1.295"), start=1):
        expect(page.get_by_role("heading", name=f"Crimp height, piece {number} of 3")).to_be_visible()
        record(page, height)
    expect(page.get_by_role("heading", name="Crimp height, piece 3 of 3")).to_be_visible()
    record(page, "13.05")
    expect(page.get_by_role("button", name=re.compile("It is 1.305 mm"))).to_be_visible()
    shoot(page, "make-decimal-point")
    page.get_by_role("button", name=re.compile("It is 1.305 mm")).click()
    for name, value in (("Crimp width", "2.02"), ("Insulation crimp height", "2.25"), ("Strip length", "4.0")):
        expect(page.get_by_role("heading", name=name)).to_be_visible()
        record(page, value)
    pull(page, shoot)
    look(page)


def pull(page: Page, shoot) -> None:
    expect(page.get_by_role("heading", name=re.compile("Pull"))).to_be_visible()
    page.locator("#id_text").fill("131.5")
    page.get_by_text("Wire broke away from crimp").click()
    shoot(page, "make-pull")
    page.get_by_role("button", name="Record", exact=True).click()


def look(page: Page) -> None:
    expect(page.get_by_role("heading", name="Look at the pieces")).to_be_visible()
    page.get_by_role("button", name="Accept all not marked").click()
    expect(page.get_by_role("heading", name=re.compile("at piece"))).to_be_visible()


def sign(page: Page, pin: str) -> None:
    page.locator("#id_secret").fill(pin)
    page.locator("button.primary[form=answer]").click()


def make_batch(page: Page, shoot) -> None:
    """An operator on a tablet: set-up check, first piece, countersignature, samples, counts."""
    page.goto("/make/sign-on/")
    page.locator("#id_identifier").fill("B-2001")
    page.keyboard.press("Enter")
    for digit in "582046":  # on the keypad, as with gloves
        page.get_by_role("button", name=digit, exact=True).click()
    page.get_by_role("button", name="Sign on").click()
    page.wait_for_url("**/make/")
    axe_clean(page)
    shoot(page, "make-queue")
    page.locator("#id_code").fill(f"{JOB}-S1")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name=f"{JOB}-S1")).to_be_visible()
    page.locator("a.choice", has_text=JOB).click()
    expect(page.get_by_role("heading", name="How many pieces in this batch?")).to_be_visible()
    page.get_by_role("button", name="Start the batch").click()
    expect(page.get_by_role("heading", name=re.compile("Scan:"))).to_be_visible()

    for code in ("MIC-12", "TL-26-1112"):  # calibration overdue; a reel of another terminal
        page.locator("#id_code").fill(code)
        page.keyboard.press("Enter")
        expect(page.locator(".scan-answer")).to_contain_text("No")
        expect(page.locator(".scan-answer")).to_contain_text(code)
    shoot(page, "make-refused-scan")
    for code in ("AP-102", "TL-26-1131", "WL-26-0412", "MIC-11", "CAL-21", "PUL-31"):
        page.locator("#id_code").fill(code)
        page.keyboard.press("Enter")
        if code == "PUL-31":
            expect(page.locator(".verdict.large")).to_contain_text("All six parts hold together")
        else:
            expect(page.locator(".scan-answer")).to_contain_text(re.compile(f"Yes.*{code}", re.DOTALL))
    axe_clean(page)
    shoot(page, "make-set-up")
    page.get_by_role("link", name="Make the first piece").click()
    start_measuring(page, "5")
    measure_first_piece(page, shoot)
    axe_clean(page)
    shoot(page, "make-overview")
    sign(page, "582046")

    expect(page.locator("#id_identifier")).to_be_visible()
    page.locator("#id_identifier").fill("B-3001")
    shoot(page, "make-inspector")
    sign(page, "405862")
    expect(page.get_by_role("link", name="Take a sample now")).to_be_visible()
    axe_clean(page)
    shoot(page, "make-running")

    page.get_by_role("link", name="Take a sample now").click()
    start_measuring(page, "14")
    record(page, "1.312")
    look(page)
    page.locator("button.primary[form=answer]").click()

    page.get_by_role("link", name=re.compile("Last piece")).click()
    start_measuring(page, "22")
    record(page, "1.290")
    pull(page, lambda *_: None)
    look(page)
    sign(page, "582046")
    expect(page.locator("[name=made]")).to_be_visible()
    for name, count in {"made": 22, "good": 19, "scrap": 1, "destroyed": 2, "held": 0}.items():
        page.locator(f"[name={name}]").fill(str(count))
    page.locator("[name=good]").fill("20")  # one too many
    sign(page, "582046")
    expect(page.get_by_text("they add up to 23").first).to_be_visible()
    shoot(page, "make-counts-refused")
    page.locator("[name=scrap]").fill("0")
    sign(page, "582046")
    expect(page.get_by_role("heading", name="Batch closed")).to_be_visible()
    shoot(page, "make-closed")


def start_measuring(page: Page, count: str) -> None:
    page.locator("#id_at_count").fill(count)
    page.get_by_role("button", name="Start measuring").click()


def build_and_ship(planner: Page, quality: Page, shoot) -> None:
    planner.goto(f"/prove/lots/new/?job={JOB}")
    planner.get_by_label("Your PIN or password").fill("730518")
    shoot(planner, "prove-new-lot")
    planner.get_by_role("button", name="Sign and build the lot").click()
    expect(planner.get_by_role("heading", name=f"Harness lot {JOB}-L1").first).to_be_visible()

    quality.goto("/prove/shipments/new/?customer=BRACK")
    quality.get_by_label("Shipment number").fill("SH-26-900")
    quality.get_by_label("Your PIN or password").fill("618294")
    quality.get_by_role("button", name="Sign and ship").click()
    expect(quality.get_by_role("heading", name="Shipment SH-26-900")).to_be_visible()


def audit(page: Page, shoot, tmp_path):
    """The auditor enters the number and leaves with a sealed PDF."""
    expect(page.get_by_role("searchbox", name="Find")).to_be_visible()
    axe_clean(page)
    page.get_by_role("searchbox", name="Find").fill("SH-26-900")
    page.get_by_role("button", name="Find").click()
    expect(page.get_by_role("heading", name="Shipment SH-26-900")).to_be_visible()
    for evidence in ("Jonas Eikeland: crimp", "WL-26-0412 of W075-BU", "TL-26-1131 of RX-48", "AP-102, applicator", "MIC-11"):
        expect(page.locator("table.evidence")).to_contain_text(evidence)
    expect(page.locator("ol.six-parts")).not_to_contain_text("open")
    axe_clean(page)
    shoot(page, "prove-shipment")
    page.get_by_role("button", name="Issue trace report").click()
    expect(page.get_by_role("heading", name="Trace report SH-26-900")).to_be_visible()
    shoot(page, "prove-document")
    pdf = page.request.get("/prove/documents/TR-SH-26-900/1/file/")
    assert pdf.ok
    path = tmp_path / "trace-report.pdf"
    path.write_bytes(pdf.body())
    page.goto("/prove/where/terminal-lot/TL-26-1131/")
    expect(page.locator("table")).to_contain_text("SH-26-900")
    shoot(page, "prove-where")
    return path


def test_main_job_from_sign_in_to_the_sealed_pdf(open_as, shoot, server, tmp_path):
    planner = sign_in(open_as(DESK), "mira")
    plan_job(planner, shoot)
    release_sheet(sign_in(open_as(DESK), "teo"), shoot)
    make_batch(open_as(TABLET), shoot)
    build_and_ship(planner, sign_in(open_as(DESK), "quirin"), shoot)
    pdf = audit(sign_in(open_as(DESK), "audun"), shoot, tmp_path)

    sealed = server.manage("verify_pdf", str(pdf))
    assert sealed.returncode == 0, sealed.stdout + sealed.stderr
    assert "the document stands" in sealed.stdout
    ledger = server.manage("verify_ledger")
    assert ledger.returncode == 0, ledger.stdout


def test_floor_fits_an_upright_tablet(open_as, shoot):
    page = open_as(TABLET_UPRIGHT)
    page.goto("/make/sign-on/")
    expect(page.locator("button.primary[form=answer]")).to_be_in_viewport()
    axe_clean(page)
    shoot(page, "make-sign-on-upright")


KEEPING = {
    "keeping": "/prove/keeping/",
    "retention-rule": "/prove/keeping/rules/batch-records/",
    "due": "/prove/keeping/due/batch-records/",
    "legal-hold": "/prove/keeping/holds/LH-0001/",
}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_main_desk_pages_are_accessible(open_as, shoot, scheme):
    page = sign_in(open_as(DESK, color_scheme=scheme), "mira")
    for name, path in (
        {"plan": "/plan/", "shop": "/shop/", "wires": "/shop/wires/", "prove": "/prove/", "help": "/help/rules/"} | KEEPING
    ).items():
        page.goto(path)
        axe_clean(page)
        shoot(page, f"{scheme}-{name}")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), f"{path} scrolls sideways"
