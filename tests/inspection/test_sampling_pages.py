"""Pages of sampling: schemes, inspecting a lot, planning."""

from __future__ import annotations

import csv
import io

import pytest
from django.urls import reverse

from inspection.models import LotInspection, SamplingScheme
from shop.clock import now
from tests import factories
from tests.factories import PIN
from tests.inspection.test_acceptance import look, reel, scheme, stated  # noqa: F401  # fixtures

TYPED = {
    "name": "Reels",
    "thing": "terminal lots",
    "terminal": "T-250-F",
    "criterion": "burr",
    "basis": "table",
    "level": "II",
    "aql": "0.65",
    "start": "normal",
    "reduced_by": "never",
    "reason": "contract",
}


def test_quality_opens_a_scheme_on_the_page(cast, catalogue, signed_in):
    client = signed_in(cast.quality)
    bad = client.post(reverse("studies:sampling-new"), TYPED | {"terminal": "", "name": ""})
    assert (bad.status_code, "name" in bad.context["page"].form.errors) == (422, True)
    bad = client.post(reverse("studies:sampling-new"), TYPED | {"basis": "own", "n": "5", "ac": "9"})
    assert (bad.status_code, "n" in bad.context["page"].form.errors) == (422, True)
    answer = client.post(reverse("studies:sampling-new"), TYPED)
    made = SamplingScheme.objects.get()
    assert answer["Location"] == reverse("studies:sampling-scheme", args=[made.number])
    assert signed_in(cast.operator).get(reverse("studies:sampling-new")).status_code == 403


def test_inspector_sees_the_plan_signs_and_the_reel_is_held(scheme, reel, cast, signed_in):  # noqa: F811  # fixtures
    client, lot = signed_in(cast.inspector), reel()
    address = reverse("studies:sampling-inspect", args=[scheme.number])
    assert client.get(address).context["page"].plan is None
    page = client.get(address, {"lot": lot.lot_number, "lot_size": "1000"}).context["page"]
    assert (page.plan.n, page.plan.ac, page.plan.re) == (80, 2, 3)
    typed = {"lot": lot.lot_number, "lot_size": "1000", "seen_sha256": page.seen_sha256, "found": "3", "secret": PIN}
    bad = client.post(address, typed)
    assert (bad.status_code, "defects" in bad.context["page"].form.errors) == (422, True)
    assert client.post(address, typed | {"found": "no"}).status_code == 422
    assert not LotInspection.objects.exists()
    assert client.post(address, typed | {"defects": "burr"}).status_code == 302
    lot.refresh_from_db()
    assert lot.state == "on hold"
    shown = client.get(reverse("studies:sampling-scheme", args=[scheme.number])).context["page"]
    assert [(line.word, line.release_url) for line in shown.lots] == [("not accepted", "")]
    assert shown.next[0].startswith("One more lot not accepted")


def test_unknown_lot_or_size_is_told_on_the_page(scheme, reel, cast, signed_in):  # noqa: F811  # fixtures
    client = signed_in(cast.inspector)
    address = reverse("studies:sampling-inspect", args=[scheme.number])
    for asked in ({"lot": "TL-0"}, {"lot": reel().lot_number, "lot_size": "1"}, {"lot": reel().lot_number, "lot_size": "many"}):
        answer = client.get(address, asked)
        assert (answer.status_code, len(answer.context["page"].refused)) == (422, 1)


def test_accepted_reel_is_released_from_the_scheme(scheme, reel, cast, signed_in):  # noqa: F811  # fixtures
    lot = reel()
    look(scheme, lot, cast.inspector)
    client = signed_in(cast.inspector)
    address = reverse("studies:sampling-scheme", args=[scheme.number])
    url = client.get(address).context["page"].lots[0].release_url
    assert client.post(url)["Location"] == address
    lot.refresh_from_db()
    assert lot.state == "released"
    assert client.get(address).context["page"].lots[0].release_url == ""
    assert client.post(url).status_code == 422


def test_scheme_shows_when_it_switched_and_what_would_be_next(scheme, reel, cast, signed_in):  # noqa: F811  # fixtures
    for found in (3, 3, 0):
        look(scheme, reel(), cast.inspector, found=found)
    page = signed_in(cast.auditor).get(reverse("studies:sampling-scheme", args=[scheme.number])).context["page"]
    assert page.line.word == "tightened"
    assert [bool(line.switched) for line in page.lots] == [False, True, False]
    assert page.next[0] == "4 more accepted in a row lead back to normal (1 of 5 so far)."
    assert (len(page.ranges), page.ranges[8].n, page.ranges[8].ac) == (15, "80", "1")
    assert not page.may_inspect


def test_history_is_exported(scheme, reel, cast, signed_in):  # noqa: F811  # fixtures
    look(scheme, reel(), cast.inspector, found=1)
    client = signed_in(cast.auditor)
    answer = client.get(reverse("studies:sampling-history", args=[scheme.number, "csv"]))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert [(row["lot"], row["n"], row["found"], row["accepted"]) for row in rows] == [("TL-9000", "80", "1", "yes")]
    assert client.get(reverse("studies:sampling-history", args=[scheme.number, "xlsx"])).content[:2] == b"PK"


def test_quality_ends_a_scheme_with_a_reason(scheme, cast, signed_in):  # noqa: F811  # fixtures
    client, address = signed_in(cast.quality), reverse("studies:sampling-end", args=[scheme.number])
    assert client.post(address, {"reason": ""}).status_code == 422
    assert client.post(address, {"reason": "supplier certified"}).status_code == 302
    line = client.get(reverse("studies:sampling"), {"state": "ended"}).context["page"].lines[0]
    assert (line.word, line.why) == ("ended", "supplier certified")
    assert client.get(reverse("studies:sampling"), {"state": "in force"}).context["page"].lines == []
    assert len(client.get(reverse("studies:sampling"), {"q": "t-250"}).context["page"].lines) == 1


@pytest.mark.parametrize("count", [1, 4])
def test_list_asks_the_database_the_same_for_any_number_of_schemes(count, cast, catalogue, signed_in, django_assert_num_queries):
    for serial in range(count):
        made = SamplingScheme.objects.create(
            number=f"SS-{serial:04d}", name="x", thing="terminal lots", terminal=catalogue.terminal, criterion="x", basis="table",
            level="II", aql="1.0", reason="x", opened_by=cast.quality, opened_at=now(),
        )  # fmt: skip
        for number in (1, 2):
            look(made, factories.make_terminal_lot(f"TL-{serial}-{number}", catalogue.terminal), cast.inspector)
    client = signed_in(cast.quality)
    client.get(reverse("studies:sampling"))
    with django_assert_num_queries(6):
        page = client.get(reverse("studies:sampling")).context["page"]
    assert [line.lots for line in page.lines] == [2] * count


@pytest.mark.parametrize("count", [1, 8])
def test_scheme_page_asks_the_database_the_same_for_any_number_of_lots(count, scheme, reel, cast, signed_in, django_assert_num_queries):  # noqa: F811
    for _lot in range(count):
        look(scheme, reel(), cast.inspector)
    client = signed_in(cast.inspector)
    address = reverse("studies:sampling-scheme", args=[scheme.number])
    client.get(address)
    with django_assert_num_queries(8):  # two of them ask whether the look is noted already
        page = client.get(address).context["page"]
    assert all(line.release_url for line in page.lots)


def planned(client, question, **asked):
    answer = client.get(reverse("studies:sampling-plans", args=[question]), asked)
    page = answer.context["page"]
    return answer.status_code, page, {fact.label: fact.value for drawn in page.sections for fact in drawn.section.facts}


def test_planning_by_aql(cast, signed_in):
    status, page, facts = planned(signed_in(cast.planner), "table", lot_size="1000", level="II", aql="2.5", severity="normal")
    assert (status, facts["Look at"] != "", facts["Code letter"], facts["Accept with up to (Ac)"]) == (200, True, "J", "5")
    assert page.sections[0].section.facts[1].value == "80"
    assert all("<svg" in figure.svg for drawn in page.sections for figure in drawn.figures)
    assert "confirmed" in page.sections[0].section.notes[0]


def test_planning_by_risks_and_their_sequential_plan(cast, signed_in):
    status, _page, facts = planned(signed_in(cast.planner), "risks", p1="1", alpha="5", p2="10", beta="10", lot_size="")
    assert (status, facts["Acceptance line"], facts["Rejection line"]) == (200, "-0.9389 + 0.03975 n", "1.205 + 0.03975 n")
    status, _page, facts = planned(signed_in(cast.planner), "risks", p1="1", alpha="5", p2="6", beta="10", lot_size="1000")
    assert (status, facts["Accept with up to (Ac)"]) == (200, "2")


def test_planning_without_findings_and_success_runs(cast, signed_in):
    client = signed_in(cast.planner)
    assert planned(client, "none-allowed", p2="5", beta="5", lot_size="")[2]["Look at"] == "59"
    assert planned(client, "none-allowed", p2="5", beta="10", lot_size="200")[2]["Look at"] == "41"
    assert planned(client, "success-run", reliability="99", confidence="95", failures="0")[2]["Pieces to be tested"] == "299"


def test_planning_a_pull_force_bound_from_pasted_values(cast, signed_in):
    client = signed_in(cast.planner)
    values = "131.5 128.0\n134.2; 129.9 133.1 130.4 127.8 132.6 131.0 129.2"
    status, page, facts = planned(client, "bound", values=values, minimum="89", share="95", confidence="95", n="")
    assert (status, facts["Factor k"], facts["Values"]) == (200, "2.911", "10")
    assert page.sections[0].section.facts[0].outcome == "conforms"
    assert planned(client, "bound", values="", n="50", share="95", confidence="95", minimum="")[2]["One-sided k for 50 values"] == "2.0650"


@pytest.mark.parametrize(
    ("question", "asked"),
    [
        ("table", {"lot_size": "1", "level": "II", "aql": "1.0", "severity": "normal"}),
        ("table", {"lot_size": "99999999999", "level": "II", "aql": "1.0", "severity": "normal"}),
        ("risks", {"p1": "6", "alpha": "5", "p2": "1", "beta": "10"}),
        ("risks", {"p1": "1", "alpha": "100", "p2": "6", "beta": "10"}),
        ("none-allowed", {"p2": "0", "beta": "10"}),
        ("success-run", {"reliability": "100", "confidence": "95", "failures": "0"}),
        ("success-run", {"reliability": "NaN", "confidence": "95", "failures": "0"}),
        ("success-run", {"reliability": "99.9999999999", "confidence": "95", "failures": "0"}),
        ("bound", {"values": "12 x 13", "share": "95", "confidence": "95"}),
        ("bound", {"values": "12", "share": "95", "confidence": "95"}),
        ("bound", {"values": "", "n": "1", "share": "95", "confidence": "95"}),
        ("bound", {"values": "", "n": "10", "share": "100", "confidence": "95"}),
    ],
)
def test_question_without_an_answer_says_so(question, asked, cast, signed_in):
    status, page, _facts = planned(signed_in(cast.planner), question, **asked)
    assert (status, page.sections, bool(page.why_not or page.form.errors)) == (422, [], True)


def test_reel_and_terminal_show_what_was_sampled_beside_them(scheme, reel, cast, catalogue, signed_in):  # noqa: F811  # fixtures
    lot = reel()
    client = signed_in(cast.inspector)
    address = reverse("shop:detail", args=["terminal-lots", lot.pk])
    shown = {section.slug: section for section in client.get(address).context["page"].beside}["sampling"]
    assert (shown.lines, [lot.lot_number in one.url for one in shown.openings]) == ((), [True])
    look(scheme, lot, cast.inspector, found=3)
    shown = {section.slug: section for section in client.get(address).context["page"].beside}["sampling"]
    assert [(line.word, line.outcome) for line in shown.lines] == [("not accepted", "does not conform")]
    part = reverse("shop:detail", args=["terminals", scheme.terminal.pk])
    shown = {section.slug: section for section in client.get(part).context["page"].beside}["sampling"]
    assert [line.name for line in shown.lines] == [scheme.number]
    wire = reverse("shop:detail", args=["wires", catalogue.wire.pk])
    assert "sampling" not in {section.slug for section in client.get(wire).context["page"].beside}
