"""A tablet whose network is cut: whatever happens, each reading stands once, the ledger verifies, and the screen says where things are."""

from __future__ import annotations

import json
import re
import signal

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from playwright.sync_api import Page, expect

from tests.browser.offline_tablet import FIRST_PIECE, IN_CHARGE, PIN, PULLS, READINGS, VALUES, SmallShop, Tablet, answer
from tests.browser.test_main_job import axe_clean
from tests.faults.small_shop import CODES
from tests.inspection.fresh_verdicts import fresh_cases
from tests.inspection.verdict_vectors import FILE, server_answer

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def small_shop(tmp_path_factory):
    shop = SmallShop(tmp_path_factory.mktemp("small"))
    shop.make()
    shop.start()
    expect.set_options(timeout=15_000)  # a busy machine is no defect
    yield shop
    expect.set_options(timeout=5_000)
    shop.stop()
    checked = shop.run("manage.py", "verify_ledger")
    assert checked.returncode == 0, checked.stdout + checked.stderr


@pytest.fixture
def tablet(browser, small_shop):
    opened = []

    def open_one(person="operator", **options):
        one = Tablet.signed_on(browser, small_shop, person, **options)
        opened.append(one)
        return one

    yield open_one
    for one in opened:
        one.context.close()


def first_piece(t: Tablet, upto: int = len(FIRST_PIECE)) -> None:
    for step in FIRST_PIECE[:upto]:
        answer(t, step)


def values_of(shop: SmallShop, batch: str) -> list[tuple[object, ...]]:
    """Each reading as it stands; two of the same would show."""
    return shop.ask(READINGS, batch)


def test_network_cut_at_every_step_in_turn(small_shop, tablet):
    batch, t = small_shop.made["batches"][0], tablet()
    t.ready(batch)

    for step in FIRST_PIECE:
        t.heading(step[0])
        t.has_pack()
        t.cut()
        answer(t, step)
        if step[1] in ("sign", "approve"):  # no PIN without network: the tablet's own page asks for the badge
            expect(t.page.locator("#id_badge")).to_be_visible()
            answer(t, step)
        expect(t.page.locator("[data-saved] [data-word]")).to_contain_text("On this tablet: 1 act waits")
        t.mend()
        t.back_to_server()
    t.heading("Running")

    assert values_of(small_shop, batch) == VALUES
    assert small_shop.ask(PULLS, batch) == [(1, "120.5")]


def test_whole_batch_without_network_is_confirmed_and_closed_afterwards(small_shop, tablet, shoot):
    t = tablet()
    t.ready()
    t.cut()
    t.page.goto("/make/")
    t.heading("Without network")
    axe_clean(t.page)
    t.page.locator("button.choice", has_text=f"{small_shop.made['sheet']} rev 1").first.click()
    t.page.locator("#id_quantity").fill("60")
    t.press("Start the batch")
    for code in CODES:
        expect(t.page.locator("#id_code")).to_be_visible()
        t.scan(code)
        expect(t.page.locator(".verdict.large", has_text=code)).to_be_visible()
    axe_clean(t.page)
    shoot(t.page, "offline-set-up")
    first_piece(t, 2)
    axe_clean(t.page)
    shoot(t.page, "offline-value")
    for step in FIRST_PIECE[2:]:
        answer(t, step)
    t.heading("Running")
    axe_clean(t.page)
    t.press("Take a sample now")
    t.start("50")
    t.record("1.402")
    t.look()
    t.press("Accept the sample")
    t.heading("Running")
    t.press("Last piece")
    t.start("60")
    t.record("1.398")
    t.heading("Pull force")
    t.pull("118.0")
    t.look()
    t.heading("Last piece, at piece 60")
    t.sign()
    t.heading("What became of the pieces?")
    axe_clean(t.page)
    t.press("Keep the counts")
    expect(t.page.get_by_text("The counts are prepared")).to_be_visible()
    waiting = t.page.locator("[data-saved] [data-word]").inner_text()

    t.mend()
    t.all_sent()
    (batch,) = small_shop.ask("SELECT number FROM inspection_batch WHERE quantity = 60")[0]
    t.page.goto(f"/make/batch/{batch}/close/")
    expect(t.page.get_by_text("wait to be confirmed before the batch can close")).to_be_visible()
    confirm_all(t.page)
    inspector = tablet("inspector")
    inspector.page.goto("/make/confirm/")
    axe_clean(inspector.page)
    confirm_all(inspector.page)
    t.page.goto(f"/make/batch/{batch}/close/")
    t.page.locator("#id_secret").fill(PIN)
    t.page.locator("button.primary[form=answer]").click()
    t.page.wait_for_url("**/closed/")

    assert int(re.findall(r"\d+", waiting)[0]) >= 20
    assert values_of(small_shop, batch)[:5] == VALUES
    (made, parts), *_ = small_shop.ask("SELECT made, good + scrap + destroyed + held FROM inspection_batch WHERE number = ?", batch)
    assert (made, parts) == (60, 60)


def confirm_all(page: Page) -> None:
    page.goto("/make/confirm/")
    while page.locator("section[aria-labelledby=h-own] a.choice").count():
        page.locator("section[aria-labelledby=h-own] a.choice").first.click()
        expect(page.get_by_role("heading", name=re.compile("Did you sign"))).to_be_visible()
        page.locator("#id_secret").fill(PIN)
        page.get_by_role("button", name="Answer with the PIN").click()
        page.wait_for_url("**/confirm/")


@pytest.mark.parametrize("how", ["before", "after"])
def test_server_killed_in_the_middle_of_a_reading(small_shop, tablet, how):
    batch, t = small_shop.made["batches"][1 if how == "before" else 2], tablet()
    t.ready(batch)
    first_piece(t, 1)
    t.heading("Crimp height, piece 1 of 2")
    t.has_pack()
    small_shop.arm(how)

    t.record("1.401")
    small_shop.wait_until_dead()
    t.heading("Crimp height, piece 2 of 2")  # on the tablet's own page
    t.record("1.399")
    stood = values_of(small_shop, batch)
    small_shop.start()
    t.back_to_server()
    for step in FIRST_PIECE[3:]:
        answer(t, step)
    t.heading("Running")

    assert len(stood) == (0 if how == "before" else 1)
    assert values_of(small_shop, batch) == VALUES
    assert small_shop.ask("SELECT COUNT(*) FROM inspection_offlineact WHERE set_aside") == [(0,)]


def test_server_that_is_down_is_as_good_as_no_network(small_shop, tablet):
    batch, t = small_shop.made["batches"][3], tablet()
    t.ready(batch)
    small_shop.stop(signal.SIGTERM)
    try:
        first_piece(t, 4)
        expect(t.page.locator("[data-saved] [data-word]")).to_contain_text("On this tablet: 4 acts wait")
    finally:
        small_shop.start()
    t.page.goto(f"/make/batch/{batch}/")
    t.heading("Insulation crimp height")

    assert values_of(small_shop, batch) == VALUES[:3]


def test_two_tablets_on_one_batch_leave_a_decision_to_a_person(small_shop, tablet):
    batch, away, here = small_shop.made["batches"][4], tablet(), tablet()
    for one in (away, here):
        one.ready(batch)
    away.cut()
    first_piece(away, 2)
    away.heading("Crimp height, piece 2 of 2")
    first_piece(here, 3)
    here.heading("Crimp width")
    away.mend()

    expect(away.page.get_by_role("link", name="Decide")).to_be_visible(timeout=20_000)
    away.page.goto("/make/undecided/")
    axe_clean(away.page)
    away.page.locator("a.choice", has_text="Start the sample").first.click()
    axe_clean(away.page)
    away.page.get_by_label("Keep it as a note only").check()
    away.page.get_by_label("everything that waits behind it").check()
    away.page.locator("#id_reason").fill("measured at the other tablet")
    away.page.locator("#id_secret").fill(PIN)
    away.press("Sign the decision")
    expect(away.page.get_by_text("2 acts are kept as notes")).to_be_visible()

    assert values_of(small_shop, batch) == VALUES[:2]
    assert small_shop.ask(
        "SELECT COUNT(*) FROM inspection_sample s JOIN inspection_batch b ON b.id = s.batch_id WHERE b.number = ?", batch
    ) == [(1,)]


def test_sheet_superseded_meanwhile_comes_back_as_a_decision(small_shop, tablet):
    batch, t = small_shop.made["superseded"], tablet()
    t.ready(batch)
    t.cut()
    first_piece(t, 3)
    t.heading("Crimp width")
    small_shop.act(f"SetupSheet.objects.filter(terminations__batches__number={batch!r}).update(status='superseded')")
    t.mend()
    expect(t.page.get_by_role("link", name="Decide")).to_be_visible(timeout=20_000)
    t.page.get_by_role("link", name="Decide").click()
    t.page.locator("a.choice", has_text="is superseded").first.click()
    t.page.get_by_label("Take it over as things are now").check()
    t.page.locator("#id_secret").fill(PIN)
    t.press("Sign the decision")
    expect(t.page.get_by_text("3 acts are recorded")).to_be_visible()

    assert values_of(small_shop, batch) == VALUES[:2]


def test_lot_put_on_hold_meanwhile_is_decided_by_quality(small_shop, tablet):
    batch, t = small_shop.made["batches"][8], tablet()
    t.ready(batch)
    t.cut()
    first_piece(t, 3)
    t.heading("Crimp width")
    small_shop.act("TerminalLot.objects.filter(lot_number='TL-2001').update(state='on hold')")
    try:
        t.mend()
        expect(t.page.get_by_role("link", name="Decide")).to_be_visible(timeout=20_000)
        t.page.get_by_role("link", name="Decide").click()
        t.page.locator("a.choice", has_text="TL-2001").first.click()
        expect(t.page.get_by_text("A hold is concerned: an inspector or quality decides.")).to_be_visible()
        expect(t.page.locator("#answer")).to_have_count(0)
        axe_clean(t.page)
        assert values_of(small_shop, batch) == []

        quality = tablet("quality")
        quality.page.goto("/make/undecided/")
        quality.page.locator("a.choice", has_text="TL-2001").first.click()
        quality.page.get_by_label("Take it over as things are now").check()
        quality.page.locator("#id_secret").fill(PIN)
        quality.press("Sign the decision")
        expect(quality.page.get_by_text("3 acts are recorded")).to_be_visible()
    finally:
        small_shop.act("TerminalLot.objects.filter(lot_number='TL-2001').update(state='released')")

    assert values_of(small_shop, batch) == VALUES[:2]


# The tablet's clock is ten minutes slow.
SLOW = """const Real = Date;
Date = class extends Real {
  constructor(...given) { if (given.length) super(...given); else super(Real.now() - 600000); }
  static now() { return Real.now() - 600000; }
};"""


def test_wrong_clock_is_told_and_corrected(small_shop, tablet):
    batch, t = small_shop.made["batches"][5], tablet()
    t.context.add_init_script(SLOW)
    t.ready(batch)
    t.cut()
    first_piece(t, 2)
    t.heading("Crimp height, piece 2 of 2")
    t.mend()
    expect(t.page.get_by_text("clock is 10 minutes slow")).to_be_visible(timeout=20_000)
    t.all_sent()

    acts = small_shop.ask(
        "SELECT skew_seconds, (julianday(made_at) - julianday(tablet_time)) * 1440 FROM inspection_offlineact a "
        "JOIN inspection_batch b ON b.id = a.batch_id WHERE b.number = ?",
        batch,
    )
    assert all(595 <= skew <= 605 and 9.5 <= minutes <= 10.5 for skew, minutes in acts)
    assert len(acts) == 2


def test_tablet_that_cannot_keep_acts_says_so(small_shop, tablet):
    batch, t = small_shop.made["batches"][6], tablet()
    t.context.add_init_script("IDBFactory.prototype.open = () => { throw new Error('evicted'); };")
    t.page.goto("/make/")
    t.page.evaluate(IN_CHARGE)
    t.page.goto(f"/make/batch/{batch}/")
    expect(t.page.locator("[data-outbox]")).to_contain_text("cannot keep acts")
    t.cut()
    t.start("2")
    expect(t.page.locator("#id_at_count")).to_have_value("2")
    t.page.goto(f"/make/batch/{batch}/")
    expect(t.page.get_by_text("do not work without network").first).to_be_visible()
    expect(t.page.locator("[data-saved] [data-word]")).to_have_text("Not saved")


def test_browser_that_may_clear_the_tablet_is_named_before_work(small_shop, tablet):
    t = tablet()
    t.context.add_init_script("StorageManager.prototype.persist = StorageManager.prototype.persisted = async () => false;")
    t.page.goto("/make/")

    expect(t.page.locator("[data-outbox]")).to_contain_text("may clear this tablet")


SEND_TWICE = """async ([batch, moment]) => {
  const acts = ["one", "two", "three"].map((key, n) => ({
    key: `twice-${key}`, batch, by: "operator", made_at: moment, kind: n ? "reading" : "start sample",
    content: n ? { sample: "new:twice-one", characteristic: "crimp height", piece: n, text: "1.400", unit: "mm" }
               : { sample_kind: "first piece", at_count: 2 },
  }));
  const token = document.cookie.split("csrftoken=")[1].split(";")[0];
  const send = () => fetch("/make/acts/", {
    method: "POST", headers: { "Content-Type": "application/json", "X-CSRFToken": token },
    body: JSON.stringify({ tablet: "t", tablet_now: moment, acts }),
  }).then((response) => response.json()).then((told) => told.answers.map((one) => one.state));
  return Promise.all([send(), send(), send()]);
}"""


def test_same_acts_sent_three_times_at_once_stand_once(small_shop, tablet):
    batch, t = small_shop.made["batches"][7], tablet()
    t.ready()

    told = t.page.evaluate(SEND_TWICE, [batch, t.page.evaluate("() => new Date().toISOString()")])

    assert {state for answers in told for state in answers} <= {"recorded", "recorded before"}
    assert values_of(small_shop, batch) == [("crimp height", 1, "1.400"), ("crimp height", 2, "1.400")]


# --- Where a batch stands, as the tablet folds it ---------------------------------------------------------------------------------

FOLD = """async ([pack, histories]) => {
  const { fold, nextOf } = await import("/static/shop/js/offline/state.js");
  return histories.map((acts) => {
    const common = { batch: "B", by: "o", made_at: "2026-03-02T10:00:00Z" };
    const batch = fold(pack, acts.map((act, n) => ({ key: `k${n}`, ...common, ...act }))).get("B");
    const { step, line, piece } = nextOf(batch);
    return [batch.status, batch.last_count, step, line ? `${line.characteristic} ${piece}` : ""];
  });
}"""
HEIGHT = {"characteristic": "crimp height", "first": 1, "sample": 1, "last": 1, "every_nth": 1, "gauge_kind": "m", "zones": []}
WIDTH = HEIGHT | {"characteristic": "crimp width", "sample": 1, "last": 0, "every_nth": 2}
SLOTS = [{"part": "tool", "slot": "tool", "name": "T"}, {"part": "terminal", "slot": "terminal", "name": "R"}]
LABELS = [{"code": code, "part": part, "slot": part} for code, part in (("T", "tool"), ("R1", "terminal"), ("R2", "terminal"))]
PLAN = {"pk": 1, "lines": [HEIGHT, WIDTH], "criteria": [], "slots": SLOTS, "codes": LABELS, "inspector_signs": False, "sample_every": 50}
SMALL_PACK = {
    "terminations": [PLAN],
    "batches": [
        {"number": "B", "termination": 1, "status": "set-up", "quantity": 100, "last_count": 0, "setup_number": 1, "last_good": 0}
        | {"last_taken": "", "scans": [], "samples": []}
    ],
}


def scanned(code, **more):
    return {"kind": "scan", "content": {"code": code, "accepted": True} | more}


def begun(kind, count):
    return {"kind": "start sample", "content": {"sample_kind": kind, "at_count": str(count)}}


def read(name, shown="conforms"):
    return {"kind": "reading", "content": {"characteristic": name, "piece": 1, "text": "1", "unit": "mm", "shown": shown}}


def test_next_question_follows_from_the_pack_and_the_acts(small_shop, tablet):
    ended = {"kind": "conclude", "content": {}}
    ready = [scanned("T"), scanned("R1")]
    first = [*ready, begun("first piece", 5), read("crimp height"), read("crimp width"), ended]
    second = [*first, begun("in process", 50), read("crimp height"), read("crimp width"), ended]
    histories = {
        "nothing done": ([], ["set-up", 0, "scan", ""]),
        "half set up": ([scanned("T")], ["set-up", 0, "scan", ""]),
        "set up": (ready, ["first piece", 0, "start", ""]),
        "a scan that was refused": ([scanned("T"), scanned("R1", accepted=False)], ["set-up", 0, "scan", ""]),
        "measuring": ([*ready, begun("first piece", 5), read("crimp height")], ["first piece", 5, "value", "crimp width 1"]),
        "one value fails": (
            [*ready, begun("first piece", 5), read("crimp height", "does not conform"), read("crimp width"), ended],
            ["on hold", 5, "hold", ""],
        ),
        "first piece accepted": (first, ["running", 5, "run", ""]),
        "every second sample only": ([*second, begun("in process", 99), read("crimp height")], ["running", 99, "sign", ""]),
        "another reel": ([*first, scanned("R2", at_count="30")], ["first piece", 30, "start", ""]),
        "last piece": ([*first, begun("last piece", 100), read("crimp height"), ended], ["closing", 100, "counts", ""]),
        "stopped": ([*first, {"kind": "hold", "content": {"reason": "x", "at_count": "44"}}], ["on hold", 44, "hold", ""]),
        "set aside by the server": ([*ready, {**begun("first piece", 5), "aside": True}], ["first piece", 0, "start", ""]),
    }
    t = tablet()
    t.page.goto("/make/")

    found = t.page.evaluate(FOLD, [SMALL_PACK, [acts for acts, _ in histories.values()]])

    assert dict(zip(histories, found, strict=True)) == {name: wanted for name, (_, wanted) in histories.items()}


# --- The verdict on the tablet ----------------------------------------------------------------------------------------------------

JUDGE = """async (cases) => {
  const { judge } = await import("/static/shop/js/offline/verdict.js");
  return cases.map(judge);
}"""


def test_tablet_judges_as_the_server_does(small_shop, tablet):
    t = tablet()
    t.page.goto("/make/")
    fresh: list[dict[str, object]] = []

    @settings(max_examples=400, database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
    @given(fresh_cases())
    def draw(case):
        fresh.append(case | {"answer": server_answer(case)})

    draw()
    cases = [*json.loads(FILE.read_text()), *fresh]

    answers = t.page.evaluate(JUDGE, [{name: value for name, value in case.items() if name != "answer"} for case in cases])

    assert [(case, given) for case, given in zip(cases, answers, strict=True) if case["answer"] != given] == []
