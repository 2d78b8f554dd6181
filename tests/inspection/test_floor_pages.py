"""The floor pages as an operator and an inspector use them: every step through the browser's door, and what a refusal leaves."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from django.urls import reverse

from inspection.models import Batch, BatchStatus, PullTest, Reading, Sample, SampleState, SetupScan, VisualFinding
from inspection.plan import plan_of
from records.demo.walk import run_batch, sample_at, set_up
from shop.acts.sheets import revise_sheet, submit_sheet
from shop.clock import now
from tests import factories


def key_in(page):
    return re.search(r'name="act_key" value="([^"]+)"', page.content.decode())[1]


class Tablet:
    """A tablet: opens pages, follows redirects, and sends the form of the screen it shows."""

    def __init__(self, client):
        self.client, self.page = client, None

    def open(self, name, *args, **query):
        self.page = self.client.get(reverse(f"make:{name}", args=args), query, follow=True)
        return self.page

    def send(self, **typed):
        self.page = self.client.post(self.address, {"act_key": key_in(self.page), **typed}, follow=True)
        return self.page

    @property
    def address(self):
        return self.page.request["PATH_INFO"]

    @property
    def text(self):
        return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", self.page.content.decode()))

    @property
    def seen(self):
        return re.search(r'name="seen_sha256" value="([^"]+)"', self.page.content.decode())[1]


@pytest.fixture
def tablet(client, cast):
    client.force_login(cast.operator)
    return Tablet(client)


def measure(tablet, sample):
    """Type every value the screens ask for until the overview shows."""
    plan = plan_of(sample)
    tablet.open("sample", sample.batch.number, sample.number)
    for planned in plan.readings:
        middle = (planned.limits.low + planned.limits.high) / 2
        for _piece in range(planned.pieces):
            tablet.send(text=f"{middle:.3f}", unit="mm")
    for _piece in range(plan.pulls):
        tablet.send(text="120.5", unit="N", mode="wire broke away from crimp")
    tablet.send(all="1")


# --- The whole way ---------------------------------------------------------------------------------------------------------------


def test_floor_pages_lead_from_badge_to_closed_batch(client, cast, termination, codes):
    tablet = Tablet(client)
    tablet.open("station")
    assert tablet.address == reverse("make:sign-on")
    tablet.open("sign-on", identifier="B-operator")
    assert "Omar Reyes" in tablet.text
    client.post(tablet.address, {"identifier": "B-operator", "secret": factories.PIN})

    tablet.open("station")
    assert "L1/A" in tablet.text
    tablet.open("start", termination.pk)
    tablet.send(quantity="100")
    batch = Batch.objects.get()
    for code in codes:
        assert tablet.address == reverse("make:set-up", args=[batch.number])
        assert tablet.send(code=code).status_code == 200
    assert "All six parts hold together" in tablet.text

    tablet.open("first-piece", batch.number)
    tablet.send(at_count="5")
    sample = Sample.objects.get()
    measure(tablet, sample)
    assert "The sample conforms" in tablet.text
    tablet.send(secret=factories.PIN, seen_sha256=tablet.seen)
    assert tablet.address == reverse("make:inspector", args=[batch.number, 1])
    tablet.send(identifier="B-inspector", secret=factories.PIN, seen_sha256=tablet.seen)
    assert tablet.address == reverse("make:run", args=[batch.number])
    assert re.search(r"Next sample due at 55\b", tablet.text)

    tablet.open("new-sample", batch.number, "in-process")
    tablet.send(at_count="55")
    measure(tablet, Sample.objects.get(number=2))
    tablet.send(seen_sha256=tablet.seen)
    assert re.search(r"Next sample due at 105\b", tablet.text)

    tablet.open("new-sample", batch.number, "last-piece")
    tablet.send(at_count="104")
    measure(tablet, Sample.objects.get(number=3))
    tablet.send(secret=factories.PIN, seen_sha256=tablet.seen)
    assert tablet.address == reverse("make:close", args=[batch.number])
    tablet.send(made="104", good="100", scrap="0", destroyed="4", held="0", secret=factories.PIN)

    assert tablet.address == reverse("make:closed", args=[batch.number])
    assert "100 good of 104 made" in tablet.text
    batch.refresh_from_db()
    assert (batch.status, batch.closed_by) == (BatchStatus.CLOSED, cast.operator)


# --- Signing on ------------------------------------------------------------------------------------------------------------------


def test_floor_page_without_a_person_asks_for_the_badge(client, running):
    page = client.get(reverse("make:run", args=[running.number]))

    assert page.url.startswith(reverse("make:sign-on"))


def test_sign_on_with_wrong_pin_is_refused_with_what_is_left(client, cast):
    page = client.post(reverse("make:sign-on"), {"identifier": "B-operator", "secret": "111222"})

    assert page.status_code == 422
    assert "4 more tries" in page.content.decode()
    assert "_auth_user_id" not in client.session


def test_sign_on_tells_the_wait_after_five_wrong_pins(client, cast):
    for _try in range(5):
        page = client.post(reverse("make:sign-on"), {"identifier": "B-operator", "secret": "111222"})
    assert re.search(r"the account waits (30|29) seconds more", page.content.decode())

    page = client.post(reverse("make:sign-on"), {"identifier": "B-operator", "secret": factories.PIN})
    assert page.status_code == 422
    assert "_auth_user_id" not in client.session


def test_sign_on_of_another_person_changes_the_operator(tablet, cast):
    tablet.client.post(reverse("make:sign-on"), {"identifier": "B-inspector", "secret": factories.PIN, "next": "/make/"})

    assert "Ines Falk" in tablet.open("station").content.decode()


def test_sign_on_never_leads_to_another_site(client, cast):
    page = client.post(reverse("make:sign-on"), {"identifier": "B-operator", "secret": factories.PIN, "next": "https://elsewhere.example/"})

    assert page.url == reverse("make:station")


def test_sign_on_with_a_handed_out_password_is_refused(client, cast):
    cast.operator.must_change_secret = True
    cast.operator.save()

    page = client.post(reverse("make:sign-on"), {"identifier": "B-operator", "secret": factories.PASSWORD})

    assert page.status_code == 422
    assert "choose a password and a PIN of your own" in page.content.decode()


# --- The queue -------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", ["{sheet}", "http://127.0.0.1:8000/prove/documents/SS-{sheet}/1/", " {sheet} "])
def test_scanned_sheet_opens_its_terminations(tablet, termination, code):
    tablet.open("find", code=code.format(sheet=termination.sheet.number))

    assert tablet.page.request["QUERY_STRING"] == f"sheet={termination.sheet.number}"
    assert "L1/A" in tablet.text


def test_scanned_batch_opens_the_step_it_is_at(tablet, proven):
    tablet.open("find", code=proven.number)

    assert tablet.address == reverse("make:first-piece", args=[proven.number])


def test_unknown_label_at_the_queue_says_so_and_keeps_what_was_scanned(tablet):
    tablet.open("find", code="NO-SUCH")

    assert tablet.page.status_code == 422
    assert 'value="NO-SUCH"' in tablet.page.content.decode()
    assert "There is no batch, setup sheet or tool NO-SUCH" in tablet.text


def test_traveller_of_a_sheet_in_force_asks_how_many_pieces(tablet, cast, catalogue):
    sheet = factories.released(cast, catalogue)

    tablet.open("find", code=f"{sheet} L1/A")

    assert tablet.address == reverse("make:start", args=[sheet.terminations.get().pk])


def test_traveller_of_an_old_revision_starts_nothing(tablet, cast, catalogue):
    old = factories.released(cast, catalogue)
    draft = revise_sheet(sheet=old, reason="Longer wire", by=cast.planner, at=now())
    factories.release(submit_sheet(sheet=draft, by=cast.planner, at=now()), cast.approver)

    tablet.open("find", code=f"{old} L1/A")

    assert f"Sheet {old} is superseded." in tablet.text
    assert tablet.page.status_code == 422


def test_queue_leaves_out_drafts_and_terminations_already_planned(tablet, cast, catalogue, proven):
    factories.draft(cast, catalogue, lead="DRAFTED")

    tablet.open("station")

    assert "No released setup sheet has pieces left" in tablet.text
    assert "DRAFTED" not in tablet.text


def test_queue_keeps_the_terminations_of_one_tool_together(tablet, cast, catalogue):
    other = factories.make_tool("AP-050")
    factories.make_row(other, catalogue.terminal, ("0.5", "1.5"), ("1.4", "2.6"))
    for lead, tool in (("X1", catalogue.tool), ("X2", other), ("X3", catalogue.tool)):
        factories.released(cast, catalogue, lead=lead, tool=tool)

    tablet.open("station")

    queues = tablet.page.context["page"]["station"].queues
    assert [(q.tool, [t.name for t in q.terminations]) for q in queues] == [("AP-031", ["X1/A", "X3/A"]), ("AP-050", ["X2/A"])]


def test_queue_warns_of_a_qualification_that_runs_out(tablet, cast):
    cast.operator.qualifications.filter(process="crimp").update(expires_on=factories.days(9))
    cast.operator.qualifications.filter(process="strip").update(expires_on=factories.days(-2))

    tablet.open("station")

    assert "9 days left" in tablet.text
    assert "not in force" in tablet.text


@pytest.mark.parametrize("batches", [1, 3])
def test_queue_takes_the_same_queries_for_one_and_for_three(tablet, cast, catalogue, hand, codes, batches, django_assert_num_queries):
    for number in range(batches):
        set_up(factories.released(cast, catalogue, lead=f"B{number}").terminations.get(), codes, 50, hand, now)

    with django_assert_num_queries(15):
        page = tablet.client.get(reverse("make:station"))

    assert len(page.context["page"]["station"].batches) == batches


# --- Who sees what ---------------------------------------------------------------------------------------------------------------


def test_auditor_looks_at_the_run_without_buttons_that_would_be_refused(client, cast, running):
    client.force_login(cast.auditor)

    page = client.get(reverse("make:run", args=[running.number])).content.decode()

    assert "Crimp height" in page
    for name, *more in (("new-sample", "in-process"), ("stop",), ("change",)):
        assert reverse(f"make:{name}", args=[running.number, *more]) not in page


def test_auditor_who_posts_all_the_same_is_refused(client, cast, running):
    client.force_login(cast.auditor)

    page = client.post(reverse("make:stop", args=[running.number]), {"act_key": "k-1", "reason": "odd", "at_count": "9"})

    assert page.status_code == 422
    assert Batch.objects.get().status == BatchStatus.RUNNING


def test_inspector_may_stop_the_run(client, cast, running):
    client.force_login(cast.inspector)
    tablet = Tablet(client)

    tablet.open("stop", running.number)
    tablet.send(reason="terminal is bent", at_count="20")

    assert tablet.address == reverse("make:hold", args=[running.number])
    assert "pieces 6 to 20" in tablet.text


# --- Set-up ----------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def opened(termination, tablet):
    tablet.open("start", termination.pk)
    tablet.send(quantity="100")
    return Batch.objects.get()


def test_refused_scan_says_no_with_every_reason_and_stays_visible(tablet, opened):
    page = tablet.send(code="TL-2002")

    assert page.status_code == 422
    assert "No TL-2002" in tablet.text
    assert "on hold" in tablet.text
    tablet.open("set-up", opened.number)
    tablet.send(code="AP-031")
    assert "TL-2002" in tablet.text
    assert SetupScan.objects.filter(code="TL-2002", accepted=False).count() == 1


def test_set_up_takes_any_order_and_says_what_is_missing(tablet, opened):
    tablet.send(code="TL-2001")

    assert tablet.page.status_code == 200
    assert "Scan: tool AP-031" in tablet.text
    assert "Then: spool of W-075-RD" in tablet.text


def test_unknown_label_in_the_set_up_is_answered_kindly(tablet, opened):
    page = tablet.send(code="COFFEE")

    assert page.status_code == 422
    assert "COFFEE is not a tool, a reel, a spool or a gauge of this shop" in tablet.text


def test_start_with_more_pieces_than_open_keeps_the_number_typed(tablet, termination):
    tablet.open("start", termination.pk)
    page = tablet.send(quantity="101")

    assert page.status_code == 422
    assert 'value="101"' in page.content.decode()
    assert not Batch.objects.exists()


# --- Once ------------------------------------------------------------------------------------------------------------------------


def test_start_sent_twice_opens_one_batch(tablet, termination):
    tablet.open("start", termination.pk)
    form = {"act_key": key_in(tablet.page), "quantity": "40"}

    answers = [tablet.client.post(tablet.address, form) for _time in range(2)]

    assert Batch.objects.count() == 1
    assert answers[0].url == answers[1].url


def test_reading_sent_twice_is_one_reading(tablet, proven):
    tablet.open("first-piece", proven.number)
    tablet.send(at_count="5")
    form = {"act_key": key_in(tablet.page), "text": "1.402", "unit": "mm"}
    address = tablet.address

    answers = [tablet.client.post(address, form) for _time in range(2)]

    assert [a.status_code for a in answers] == [302, 302]
    assert Reading.objects.count() == 1


def test_old_key_with_another_value_is_refused_not_ignored(tablet, proven):
    tablet.open("first-piece", proven.number)
    tablet.send(at_count="5")
    form = {"act_key": key_in(tablet.page), "unit": "mm"}
    address = tablet.address

    tablet.client.post(address, form | {"text": "1.402"})
    page = tablet.client.post(address, form | {"text": "1.398"})

    assert page.status_code == 422
    assert [r.text for r in Reading.objects.all()] == ["1.402"]


def test_close_sent_twice_counts_the_tool_once(tablet, running, hand, catalogue):
    sample_at(running, "last piece", 104, hand, now)
    tablet.open("close", running.number)
    form = {"act_key": key_in(tablet.page), "made": 104, "good": 100, "scrap": 0, "destroyed": 4, "held": 0, "secret": factories.PIN}

    for _time in range(2):
        assert tablet.client.post(tablet.address, form).url == reverse("make:closed", args=[running.number])

    catalogue.tool.refresh_from_db()
    assert catalogue.tool.crimp_count == 104


def test_form_without_a_key_is_refused(tablet, termination):
    page = tablet.client.post(reverse("make:start", args=[termination.pk]), {"quantity": "10"})

    assert page.status_code == 422
    assert not Batch.objects.exists()


# --- One value -------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def measuring(tablet, proven):
    tablet.open("first-piece", proven.number)
    tablet.send(at_count="5")
    return Sample.objects.get()


def test_value_is_judged_at_once_and_the_next_piece_is_asked(tablet, measuring):
    tablet.send(text="1.402", unit="mm")

    assert "Crimp height, piece 2 of 5" in tablet.text
    assert "conforms Crimp height, piece 1: 1.402 mm" in tablet.text


def test_value_outside_the_limits_is_recorded_and_says_so(tablet, measuring):
    tablet.send(text="1.47", unit="mm")

    assert "does not conform Crimp height, piece 1: 1.47 mm" in tablet.text


def test_slipped_decimal_point_is_asked_about_and_the_suggestion_taken(tablet, measuring):
    page = tablet.send(text="14", unit="mm")

    assert page.status_code == 422
    assert "It is 1.4 mm" in tablet.text
    assert "The gauge really shows 14 mm" in tablet.text
    assert not Reading.objects.exists()
    tablet.send(text="14", unit="mm", take="1.4")
    assert Reading.objects.get().value == Decimal("1.4")


def test_implausible_value_is_recorded_when_the_gauge_really_shows_it(tablet, measuring):
    tablet.send(text="14", unit="mm")
    tablet.send(text="14", unit="mm", confirmed="1")

    reading = Reading.objects.get()
    assert (reading.text, reading.outcome) == ("14", "does not conform")


def test_gauge_that_sends_its_unit_is_believed(tablet, measuring):
    tablet.send(text="0.0551 in", unit="mm")

    reading = Reading.objects.get()
    assert (reading.text, reading.unit, reading.value) == ("0.0551", "in", Decimal("1.39954"))
    assert re.search(r'value="in" checked', tablet.page.content.decode())


@pytest.mark.parametrize(("typed", "says"), [("abc", "not a number"), ("12 kg", "does not belong here"), ("1,234.5", "two ways")])
def test_text_that_is_no_length_is_refused_and_stays_in_the_field(tablet, measuring, typed, says):
    page = tablet.send(text=typed, unit="mm")

    assert page.status_code == 422
    assert says in tablet.text
    assert f'value="{typed}"' in page.content.decode()
    assert not Reading.objects.exists()


def test_correction_needs_a_reason_and_the_old_value_stays(tablet, measuring):
    tablet.send(text="1.47", unit="mm")
    first = Reading.objects.get()
    tablet.open("correct", measuring.batch.number, 1, "reading", first.pk)
    assert tablet.send(text="1.41", unit="mm", reason=" ").status_code == 422
    assert Reading.objects.count() == 1

    tablet.send(text="1.41", unit="mm", reason="typing error")

    assert [(r.text, r.corrects_id) for r in Reading.objects.order_by("pk")] == [("1.47", None), ("1.41", first.pk)]


def test_pull_test_without_a_failure_mode_is_refused_and_keeps_the_force(tablet, measuring):
    tablet.open("pull", measuring.batch.number, 1, 1)
    page = tablet.send(text="118.2", unit="N")

    assert page.status_code == 422
    assert 'value="118.2"' in page.content.decode()
    assert not PullTest.objects.exists()


def test_rejected_criterion_needs_a_note_and_nothing_half_is_written(tablet, measuring):
    tablet.open("visual", measuring.batch.number, 1)
    page = tablet.send(**{"visual.seam": "reject", "all": "1"})

    assert page.status_code == 422
    assert not VisualFinding.objects.exists()
    tablet.send(**{"visual.seam": "reject", "note-visual.seam": "open at the front", "all": "1"})
    rejected = VisualFinding.objects.get(accepted=False)
    assert (rejected.criterion, rejected.note) == ("visual.seam", "open at the front")
    assert VisualFinding.objects.count() == len(plan_of(measuring).criteria)


def test_expired_gauge_in_the_middle_of_a_sample_asks_for_another(tablet, measuring, catalogue):
    catalogue.micrometer.calibrations.update(due_on=factories.days(-1))

    page = tablet.send(text="1.402", unit="mm")

    assert page.status_code == 422
    assert "Scan another gauge" in tablet.text


# --- Conclusions -----------------------------------------------------------------------------------------------------------------


def test_wrong_pin_at_the_signature_is_counted_and_changes_nothing(tablet, measuring, cast):
    measure(tablet, measuring)
    page = tablet.send(secret="000111", seen_sha256=tablet.seen)

    assert page.status_code == 422
    assert Sample.objects.get().state == SampleState.OPEN
    cast.operator.refresh_from_db()
    assert cast.operator.failed_tries == 1


def test_signature_over_something_else_than_shown_is_refused(tablet, measuring, cast):
    measure(tablet, measuring)
    page = tablet.send(secret=factories.PIN, seen_sha256="0" * 64)

    assert page.status_code == 422
    assert "no longer what would be signed" in tablet.text
    assert Sample.objects.get().state == SampleState.OPEN


def test_operator_cannot_countersign_at_the_inspectors_screen(tablet, measuring, cast):
    measure(tablet, measuring)
    tablet.send(secret=factories.PIN, seen_sha256=tablet.seen)
    page = tablet.send(identifier="B-operator", secret=factories.PIN, seen_sha256=tablet.seen)

    assert page.status_code == 422
    assert Sample.objects.get().state == SampleState.WAITS_FOR_INSPECTOR


def test_first_piece_turned_down_holds_the_batch_with_the_inspectors_reason(tablet, measuring, cast):
    measure(tablet, measuring)
    tablet.send(secret=factories.PIN, seen_sha256=tablet.seen)
    tablet.open("turn-down", measuring.batch.number, 1)
    tablet.send(identifier="B-inspector", secret=factories.PIN, reason="brush too long")

    assert tablet.address == reverse("make:hold", args=[measuring.batch.number])
    assert "brush too long" in tablet.text


def test_hold_is_decided_at_the_operators_tablet_by_quality(tablet, running, cast):
    tablet.open("stop", running.number)
    tablet.send(reason="strands outside", at_count="30")
    tablet.open("decide", running.number)
    typed = {"decision": "resume with a new first piece", "reason": "crimper cleaned", "scrapped": "20", "kept_held": "0"}
    page = tablet.send(identifier="B-operator", secret=factories.PIN, **typed)
    assert page.status_code == 422
    assert 'value="crimper cleaned"' in page.content.decode()

    tablet.send(identifier="B-quality", secret=factories.PIN, **typed)

    assert tablet.address == reverse("make:first-piece", args=[running.number])
    hold = running.holds.get()
    assert (hold.decided_by, hold.scrapped) == (cast.quality, 20)


def test_reel_change_asks_count_then_scan_then_a_new_first_piece(tablet, running, catalogue):
    factories.make_terminal_lot("TL-2009", catalogue.terminal)
    tablet.open("change", running.number)
    assert "How many pieces are made?" in tablet.text
    tablet.open("change", running.number, at_count="40")
    tablet.send(code="TL-2009", at_count="40")

    assert tablet.address == reverse("make:first-piece", args=[running.number])
    assert "TL-2009 is in use from piece 41 on" in tablet.text


def test_change_below_the_last_count_asks_for_the_count_again(tablet, running):
    tablet.open("change", running.number, at_count="2")

    assert "The count only grows" in tablet.text
    assert "How many pieces are made?" in tablet.text


def test_counts_that_do_not_balance_come_back_with_their_sum(tablet, running, hand):
    sample_at(running, "last piece", 104, hand, now)
    tablet.open("close", running.number)
    assert re.search(r'name="destroyed" value="4"', tablet.page.content.decode())
    page = tablet.send(made="104", good="101", scrap="0", destroyed="4", held="0", secret=factories.PIN)

    assert page.status_code == 422
    assert "they add up to 105" in tablet.text
    assert re.search(r'name="good" value="101"', page.content.decode())
    assert Batch.objects.get().status == BatchStatus.CLOSING


def test_run_shows_the_chart_and_its_table(tablet, running):
    tablet.open("run", running.number)
    assert 'class="run-chart"' in tablet.page.content.decode()

    tablet.open("readings", running.number)
    assert tablet.page.content.decode().count("<tr>") == 1 + 5


def test_step_that_is_over_leads_on(tablet, termination, hand, inspector, codes):
    batch = run_batch(termination, codes, 100, hand, now, inspector)

    for name in ("set-up", "first-piece", "run", "stop", "hold", "decide", "close", "change"):
        tablet.open(name, batch.number)
        assert tablet.address == reverse("make:closed", args=[batch.number])
