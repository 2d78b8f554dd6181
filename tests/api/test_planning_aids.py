"""The fit matrix, parts lists, a document's file and a press's shut height by API: the same answers and refusals as on the pages."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from django.urls import reverse

from shop.crib import Press, PressCheck
from shop.jobs import SetupSheet
from shop.models import Document, Wire
from shop.rechecks import PartsList, Recheck
from tests import factories
from tests.api.conftest import JOB

PDF = b"%PDF-1.4\n1 0 obj<<>>endobj\ntrailer<<>>\n%%EOF"
LIST = "lead;wire;left terminal;right terminal;length;quantity\n1;W-075-RD;T-250-F;;450 mm;1\n2;W-250-BK;T-250-F;;300 mm;2\n"


def send(program, address, name, data, content_type):
    file = SimpleUploadedFile(name, data, content_type)
    return program.ask("POST", address, raw=encode_multipart(BOUNDARY, {"file": file}), content_type=MULTIPART_CONTENT)


# --- The matrix ------------------------------------------------------------------------------------------------------------------


def test_matrix_of_a_terminal_says_every_wire_on_every_tool(programs, catalogue):
    matrix = programs["planner"].get("fit/matrix/?of=terminal&number=T-250-F")
    rows = {row["number"]: dict(zip(matrix["tools"], row["verdicts"], strict=True)) for row in matrix["rows"]}
    assert set(rows) == set(Wire.objects.values_list("part_number", flat=True))
    assert rows["W-075-RD"]["AP-031"] == "fits"
    assert rows["W-250-BK"]["AP-031"] == "misfit"


def test_matrix_is_narrowed_and_refuses_what_is_not_there(programs, catalogue):
    only = programs["planner"].get("fit/matrix/?of=terminal&number=T-250-F&fits=1")
    assert [row["number"] for row in only["rows"]] == ["W-075-RD"]
    wire = programs["planner"].get("fit/matrix/?of=wire&number=W-075-RD")
    assert {row["number"] for row in wire["rows"]} == {"T-250-F", "T-M5-R"}
    assert programs["planner"].refused("fit/matrix/?of=terminal&number=T-0", method="GET") == ["data.invalid"]
    assert programs["planner"].refused("fit/matrix/?of=terminal", method="GET") == ["data.required"]


# --- Parts lists -----------------------------------------------------------------------------------------------------------------


@pytest.fixture
def parts(programs, catalogue):
    job = programs["planner"].post("jobs/", JOB)
    answer = send(programs["planner"], f"jobs/{job['id']}/parts-lists/", "leads.csv", LIST.encode(), "text/csv")
    assert answer.status == 201, answer.response.content
    return answer.json


def test_parts_list_is_read_with_each_misfit_in_place(parts):
    assert (parts["mapping"]["lead"], parts["mapping"]["wire"], parts["broken"]) == (0, 1, 1)
    first, second = parts["leads"]
    assert (first["ends"][0]["tool"], first["ends"][0]["findings"]) == ("AP-031", [])
    assert "fit.conductor.csa" in [finding["rule"] for finding in second["ends"][0]["findings"]]


def test_parts_list_becomes_a_sheet_once_every_lead_fits(programs, parts):
    planner, at = programs["planner"], f"parts-lists/{parts['id']}/"
    assert planner.refused(f"{at}sheet/") == ["parts.open"]
    corrected = planner.post(f"{at}corrections/", {"row": 1, "changes": {"wire": "W-075-RD"}})
    assert (corrected["broken"], corrected["corrections"]) == (0, {"1/wire": "W-075-RD"})
    sheet = planner.post(f"{at}sheet/")
    assert len(sheet["content"]["terminations"]) == 2
    assert planner.get(at)["sheet"] == sheet["id"]
    assert planner.refused(f"{at}corrections/", {"row": 0, "changes": {"wire": "x"}}) == ["parts.made"]


def test_columns_are_said_otherwise_or_refused(programs, parts):
    planner, at = programs["planner"], f"parts-lists/{parts['id']}/mapping/"
    mapping = {"lead": 0, "wire": 1, "left_terminal": 3, "right_terminal": 2}
    turned = planner.ask("PUT", at, {"mapping": mapping, "length_unit": "mm"}).json
    assert list(turned["leads"][0]["ends"][0]["wires"]) == ["W-075-RD"]
    assert turned["leads"][0]["ends"][0]["end"] == "B"
    assert "parts.column.needed" in planner.refused(at, {"mapping": {"lead": 0}}, method="PUT")


def test_list_that_is_none_is_refused_and_nobody_but_a_planner_brings_one(programs, catalogue):
    job = programs["planner"].post("jobs/", JOB)
    at = f"jobs/{job['id']}/parts-lists/"
    assert send(programs["planner"], at, "x.csv", b"\x00\x01", "text/csv").rules == ["parts.file"]
    assert send(programs["operator"], at, "x.csv", LIST.encode(), "text/csv").rules == ["person.role"]
    assert (PartsList.objects.count(), SetupSheet.objects.count()) == (0, 0)


# --- A document's file -----------------------------------------------------------------------------------------------------------


def test_file_of_a_document_comes_back_as_it_went_in(programs, catalogue):
    document = Document.objects.get(number="AS-250")
    at = f"catalogue/documents/{document.pk}/file/"
    assert programs["auditor"].ask("GET", at).status == 404
    assert send(programs["planner"], at, 'a"b.pdf', PDF, "application/pdf").status == 200
    answer = programs["auditor"].ask("GET", at)
    assert (answer.status, answer.response.content, answer.media_type) == (200, PDF, "application/pdf")
    assert answer.response["Content-Disposition"].startswith("attachment; ")
    assert answer.response["X-Content-Type-Options"] == "nosniff"


# --- Shut height -----------------------------------------------------------------------------------------------------------------


@pytest.fixture
def press(catalogue):
    return factories.set_up_press(catalogue)


def verified(**changed):
    return {"measured_mm": "135.79", "gauge": "CAL-01", "due_on": factories.days(180).isoformat()} | changed


def test_shut_height_within_tolerance_holds_until_due(programs, press, cast, catalogue):
    factories.released(cast, catalogue)
    Press.objects.update(shut_height_mm="135.80", shut_height_tolerance_mm="0.02")
    programs["planner"].post(f"catalogue/presses/{press.pk}/shut-height/", verified())
    after = Press.objects.get(pk=press.pk)
    assert (after.shut_height_verified_on, after.shut_height_due_on) == (factories.today(), factories.days(180))
    assert PressCheck.objects.get().result == "passed"
    assert Recheck.objects.filter(reason__startswith="press").exists()


def test_shut_height_beyond_tolerance_takes_the_press_out(programs, press):
    Press.objects.update(shut_height_mm="135.80", shut_height_tolerance_mm="0.02")
    programs["planner"].post(f"catalogue/presses/{press.pk}/shut-height/", verified(measured_mm="5.348 in"))
    after = Press.objects.get(pk=press.pk)
    assert (after.state, after.shut_height_due_on) == ("in verification", None)
    assert after.state_reason == "shut height 135.8392 mm, asked 135.80 ± 0.02 mm"


def test_shut_height_that_proves_nothing_is_refused(programs, press, catalogue):
    at = f"catalogue/presses/{press.pk}/shut-height/"
    Press.objects.update(shut_height_mm=None)
    assert programs["planner"].refused(at, verified()) == ["crib.press.height"]
    Press.objects.update(shut_height_mm="135.80", shut_height_tolerance_mm="0.02")
    assert programs["planner"].refused(at, verified(gauge="MIC-09")) == ["crib.press.gauge"]
    assert programs["planner"].refused(at, verified(due_on=factories.today().isoformat())) == ["crib.press.due"]
    assert programs["planner"].refused(at, verified(done_on=factories.days(1).isoformat())) == ["crib.day.future"]
    assert programs["operator"].refused(at, verified(), status=403) == ["person.role"]
    assert not PressCheck.objects.exists()


def test_page_shows_verifications_and_takes_the_next(signed_in, cast, press):
    Press.objects.update(shut_height_mm="135.80", shut_height_tolerance_mm="0.02")
    address = reverse("shop:shut-height", args=[press.pk])
    client = signed_in(cast.planner)
    assert "No verification is on record yet" in client.get(address).content.decode()
    refused = client.post(address, verified(measured_mm="tall"))
    assert (refused.status_code, "measured_mm" in refused.context["page"].form.errors) == (422, True)
    assert client.post(address, verified()).status_code == 302
    (line,) = client.get(address).context["page"].lines
    assert (line.measured, line.asked, line.outcome) == ("135.79 mm", "135.80 mm ± 0.02 mm", "conforms")
    assert signed_in(cast.operator).get(address).context["page"].form is None
