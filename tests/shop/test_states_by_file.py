"""States changed and papers withdrawn by a file of numbers: a preview of each row, then all rows or none."""

from __future__ import annotations

import io
import json

import openpyxl
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from records.models import LedgerEntry
from shop.acts.states_by_file import StatesRefused, change_states_by_file
from shop.catalogue import KINDS
from shop.clock import now
from shop.finding import Refused
from shop.materials import TerminalLot
from shop.specifications import Document
from tests import factories

LOTS = "lot_number,reason\nTL-2001,\nTL-3001,flakes seen\n"


def change(text, by, kind="terminal-lots", *, state="on hold", reason="supplier's notice", **options):
    data = text if isinstance(text, bytes) else text.encode()
    return change_states_by_file(kind=KINDS[kind], file_name="list.csv", data=data, state=state, reason=reason, by=by, at=now(), **options)


def states():
    return dict(TerminalLot.objects.values_list("lot_number", "state"))


def refused_rows(text, by, kind="terminal-lots", **options):
    with pytest.raises(StatesRefused) as refused:
        change(text, by, kind, **options)
    assert [finding.rule for finding in refused.value.findings] == ["states.rows"]
    report = refused.value.report
    return {line.line: [error.rule for error in line.errors] for line in report.lines if line.errors}


def changes():
    return [json.loads(entry.text)["content"] for entry in LedgerEntry.objects.filter(kind="catalogue.changed").order_by("number")]


def test_file_puts_every_lot_on_hold_each_with_its_own_entry_and_reason(cast, catalogue):
    report = change(LOTS, cast.planner)
    assert {name: state for name, state in states().items() if name in ("TL-2001", "TL-3001")} == {
        "TL-2001": "on hold",
        "TL-3001": "on hold",
    }
    assert [(line.key, line.before, line.after, line.reason) for line in report.lines] == [
        ("TL-2001", "released", "on hold", "supplier's notice"),
        ("TL-3001", "released", "on hold", "flakes seen"),
    ]
    assert [(c["after"]["lot_number"], c["reason"]) for c in changes()] == [("TL-2001", "supplier's notice"), ("TL-3001", "flakes seen")]


def test_preview_says_what_each_row_would_do_and_does_nothing(cast, catalogue):
    before = states()
    report = change(LOTS, cast.planner, dry_run=True)
    assert [line.after for line in report.lines] == ["on hold", "on hold"]
    assert states() == before
    assert not changes()


def test_one_refused_row_stops_them_all_and_each_refusal_is_named(cast, catalogue):
    before = states()
    text = "lot_number\nTL-2001\nTL-9999\nTL-2002\nTL-2001\n"  # TL-2002 is on hold: a planner does not take it off
    assert refused_rows(text, cast.planner, state="released") == {3: ["data.unknown"], 4: ["person.role"], 5: ["data.invalid"]}
    assert states() == before
    assert not changes()


def test_quality_takes_lots_off_hold(cast, catalogue):
    change("lot_number\nTL-2002\n", cast.quality, state="released")
    assert states()["TL-2002"] == "released"


def test_reason_is_needed_in_the_row_or_for_all(cast, catalogue):
    assert refused_rows(LOTS, cast.planner, reason=" ") == {2: ["data.required"]}


def test_workbook_serves_as_well(cast, catalogue):
    book = openpyxl.Workbook()
    for row in (["lot_number"], ["TL-2001"]):
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    change(out.getvalue(), cast.planner)
    assert states()["TL-2001"] == "on hold"


@pytest.mark.parametrize(
    ("text", "rule"),
    [("lot\nTL-2001\n", "import.column"), ("reason\nbecause\n", "import.header"), ("lot_number\n", "import.file"), ("", "import.header")],
)
def test_file_with_other_columns_is_refused(cast, catalogue, text, rule):
    with pytest.raises(Refused) as refused:
        change(text, cast.planner)
    assert rule in {finding.rule for finding in refused.value.findings}


def test_file_that_is_too_long_for_one_act(cast, catalogue, monkeypatch):
    monkeypatch.setattr("shop.acts.states_by_file.MOST_ROWS", 1)
    with pytest.raises(Refused) as refused:
        change(LOTS, cast.planner)
    assert [finding.rule for finding in refused.value.findings] == ["import.file"]


def test_state_there_is_not(cast, catalogue):
    assert refused_rows(LOTS, cast.planner, state="lost") == {2: ["data.invalid"], 3: ["data.invalid"]}


def test_tools_and_gauges_by_file(cast, catalogue):
    change("asset_number\nAP-031\n", cast.planner, "tools", state="retired")
    change("asset_number\nMIC-01\n", cast.planner, "gauges", state="in calibration")
    catalogue.tool.refresh_from_db()
    catalogue.micrometer.refresh_from_db()
    assert (catalogue.tool.state, catalogue.micrometer.state) == ("retired", "in calibration")


# --- Papers ----------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def papers(catalogue):
    document = catalogue.specification.document
    return f"number,revision\n{document.number},{document.revision}\n", document


def test_papers_are_withdrawn_by_who_knows_how_many_rely_on_them(cast, papers):
    text, document = papers
    relying = change(text, cast.planner, "documents", dry_run=True).relied_on
    assert relying > 0
    with pytest.raises(StatesRefused) as refused:
        change(text, cast.planner, "documents", knowing=relying - 1)
    assert [finding.rule for finding in refused.value.findings] == ["document.relied_on"]
    assert Document.objects.get(pk=document.pk).withdrawn_on is None
    change(text, cast.planner, "documents", knowing=relying)
    assert Document.objects.get(pk=document.pk).withdrawn_on == factories.today()
    assert changes()[-1]["relied_on_by"] == relying


def test_paper_that_is_withdrawn_already_is_refused(cast, papers):
    text, _document = papers
    change(text, cast.planner, "documents", knowing=change(text, cast.planner, "documents", dry_run=True).relied_on)
    assert refused_rows(text, cast.planner, "documents", dry_run=True) == {2: ["document.withdrawn"]}


def test_specifications_are_withdrawn_by_number_and_revision(cast, catalogue):
    spec = catalogue.specification
    text = f"number,revision\n{spec.number},{spec.revision}\n{spec.number},Z\n"
    assert refused_rows(text, cast.planner, "specifications", dry_run=True) == {3: ["data.unknown"]}
    only = text.partition(f"{spec.number},Z")[0]
    change(only, cast.planner, "specifications", knowing=change(only, cast.planner, "specifications", dry_run=True).relied_on)
    spec.refresh_from_db()
    assert spec.withdrawn_on == factories.today()


# --- Pages -----------------------------------------------------------------------------------------------------------------------


def post(client, slug, text, **more):
    options = {"headers": more.pop("headers")} if "headers" in more else {}
    values = {"file": SimpleUploadedFile("list.csv", text.encode()), "state": "on hold", "state_reason": "notice"} | more
    return client.post(reverse("shop:states-file", args=[slug]), values, **options)


def test_page_previews_then_sets(signed_in, cast, catalogue):
    client = signed_in(cast.planner)
    part = post(client, "terminal-lots", LOTS, check="1", headers={"HX-Request": "true"})
    assert part.content.decode().startswith('<div id="report"')
    assert [(line.before, line.after, line.word) for line in part.context["page"].lines] == [("released", "on hold", "can be done")] * 2
    assert "Nothing is changed yet" in part.content.decode()
    assert states()["TL-2001"] == "released"
    done = post(client, "terminal-lots", LOTS)
    assert (done.status_code, done["Location"]) == (302, "/shop/terminal-lots/")
    assert states()["TL-2001"] == "on hold"


def test_page_shows_each_refusal_beside_its_row(signed_in, cast, catalogue):
    answer = post(signed_in(cast.planner), "terminal-lots", "lot_number\nTL-2001\nTL-9999\nTL-3001,x\n")
    assert answer.status_code == 422
    page = answer.context["page"]
    assert [(line.line, line.word) for line in page.lines] == [(2, "can be done"), (3, "refused")]
    assert [shape.line for shape in page.shapes] == [4]
    assert "There is no terminal lot TL-9999." in answer.content.decode()
    assert (page.reason, page.state) == ("notice", "on hold")
    assert states()["TL-2001"] == "released"


def test_page_withdraws_papers(signed_in, cast, papers):
    client, (text, document) = signed_in(cast.planner), papers
    preview = post(client, "documents", text, check="1").context["page"]
    assert post(client, "documents", text, knowing="").status_code == 422
    assert post(client, "documents", text, knowing=str(preview.relied_on)).status_code == 302
    document.refresh_from_db()
    assert document.withdrawn_on == factories.today()


def test_page_is_for_kinds_with_states_and_for_who_may(signed_in, cast, catalogue):
    assert signed_in(cast.planner).get(reverse("shop:states-file", args=["wires"])).status_code == 404
    for slug in ("tools", "presses", "gauges", "wire-lots", "terminal-lots", "documents", "specifications"):
        path = reverse("shop:states-file", args=[slug])
        assert signed_in(cast.planner).get(path).status_code == 200
        assert path in signed_in(cast.planner).get(reverse("shop:list", args=[slug])).content.decode()
        assert signed_in(cast.auditor).get(path).status_code == 403
        assert path not in signed_in(cast.auditor).get(reverse("shop:list", args=[slug])).content.decode()


def test_page_without_a_file_keeps_what_was_typed(signed_in, cast, catalogue):
    answer = signed_in(cast.planner).post(reverse("shop:states-file", args=["terminal-lots"]), {"state_reason": "notice"})
    assert (answer.status_code, answer.context["page"].reason) == (422, "notice")
