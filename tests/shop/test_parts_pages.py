import csv
import io
import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from records.models import LedgerEntry
from shop.acts.parts_lists import correct_parts_list, map_parts_list, sheet_from_parts_list, take_parts_list
from shop.clock import now
from shop.finding import Refused
from shop.jobs import SetupSheet, Termination
from shop.parts_plan import plan_parts_list
from shop.rechecks import PartsList
from tests import factories

HEADER = ("Lead", "Wire", "Length (mm)", "Left terminal", "Right terminal", "Qty", "With")
GOOD = ("1", "W-075-RD", "450", "T-250-F", "T-250-F", "2", "")


def as_csv(*rows):
    out = io.StringIO()
    csv.writer(out).writerows([HEADER, *rows])
    return out.getvalue().encode()


def at(name, *args):
    return reverse(f"plan:{name}", args=args)


@pytest.fixture
def job(cast, catalogue):
    return factories.make_job(catalogue.customer, cast.planner, quantity=100)


@pytest.fixture
def take(cast, job):
    def take(*rows):
        return take_parts_list(job=job, file_name="list.csv", data=as_csv(*rows), by=cast.planner, at=now())

    return take


def lead(number, **changed):
    names = ("lead", "wire", "length", "left", "right", "quantity", "together")
    return tuple((dict(zip(names, GOOD, strict=True)) | {"lead": str(number)} | changed).values())


def refused(act, **named):
    with pytest.raises(Refused) as caught:
        act(at=now(), **named)
    return [finding.rule for finding in caught.value.findings]


def misfits(parts):
    plan = plan_parts_list(parts, factories.today())
    return {line.lead.line: sorted({(finding.rule, finding.field) for finding in line.blocking}) for line in plan.broken}


# --- Held against the catalogue ---------------------------------------------------------------------------------------------------


def test_every_end_gets_tool_setting_specification_and_height(take, catalogue):
    plan = plan_parts_list(take(GOOD), factories.today())
    assert [(e.end.end, e.tool, e.setting, e.specification.number, str(e.specification.crimp_height_nominal_mm)) for e in plan.ends] == [
        ("A", catalogue.tool, "C3 I2", "CS-250", "1.4000"),
        ("B", catalogue.tool, "C3 I2", "CS-250", "1.4000"),
    ]
    assert plan.broken == []


def test_each_misfit_stands_at_its_lead_and_column(take):
    parts = take(
        GOOD,
        lead(2, wire="W-250-BK"),
        lead(3, wire="w075rd"),
        lead(4, left="T-999", right=""),
        lead(5, left="", right="T-M5-R"),
        lead(6, length="long"),
        lead(6),
    )
    found = misfits(parts)
    assert ("fit.conductor.csa", "wire") in found[3] or ("fit.conductor.csa", "left_terminal") in found[3]
    assert found[4] == [("parts.unknown.close", "wire")]
    assert found[5] == [("parts.unknown", "left_terminal")]
    assert ("fit.spec.missing", "specification") in found[6]
    assert found[7] == [("parts.length", "length")]
    assert found[8] == [("parts.lead.twice", "lead")]
    assert 2 not in found


def test_tool_used_already_is_preferred_to_one_earlier_in_the_list_of_tools(take, cast, catalogue):
    other = factories.make_tool("AP-001")
    factories.make_row(other, catalogue.terminal, ("0.6", "1.5"), ("1.4", "2.6"), setting="C9")
    factories.make_wire("W-050-BK", "16x0.2", "1.6")  # 0.503 mm²: only AP-031 takes it
    parts = take(lead(1, wire="W-050-BK", right=""), lead(2, right=""))
    assert [end.tool.asset_number for end in plan_parts_list(parts, factories.today()).ends] == ["AP-031", "AP-031"]
    alone = take(lead(2, right=""))
    assert [end.tool.asset_number for end in plan_parts_list(alone, factories.today()).ends] == ["AP-001"]
    chosen = correct_parts_list(parts=parts, row=1, changes={"tool_a": "AP-001"}, by=cast.planner, at=now())
    assert [end.tool.asset_number for end in plan_parts_list(chosen, factories.today()).ends] == ["AP-031", "AP-001"]


def test_tool_out_of_service_comes_after_one_that_is_available(take, catalogue):
    other = factories.make_tool("AP-001", state="out for service", state_reason="crimper worn")
    factories.make_row(other, catalogue.terminal, ("0.5", "1.5"), ("1.4", "2.6"))
    end = plan_parts_list(take(lead(1, right="")), factories.today()).ends[0]
    assert [tool.asset_number for tool in end.fitting] == ["AP-031", "AP-001"]


@pytest.mark.parametrize("rows", [3, 30])
def test_preview_queries(signed_in, cast, take, django_assert_num_queries, rows):
    parts = take(*[lead(i, wire="W-999" if i % 2 else "W-075-RD") for i in range(rows)])
    client = signed_in(cast.planner)
    with django_assert_num_queries(13):
        page = client.get(at("parts-list", parts.pk)).context["page"]
    assert [line.lead for line in page.lines] == [str(i) for i in range(rows)]


def test_long_list_is_paged_and_can_show_only_what_is_wrong(signed_in, cast, take):
    parts = take(*[lead(i) for i in range(120)], lead("last", wire="W-999"))
    client = signed_in(cast.planner)
    assert len(client.get(at("parts-list", parts.pk)).context["page"].lines) == 50
    page = client.get(at("parts-list", parts.pk) + "?show=broken").context["page"]
    assert [(line.line, line.lead) for line in page.lines] == [(122, "last")]


# --- The pages --------------------------------------------------------------------------------------------------------------------


def test_planner_goes_from_a_file_to_a_sheet(signed_in, cast, job):
    client = signed_in(cast.planner)
    assert at("new-parts-list", job.pk) in client.get(at("job", job.pk)).content.decode()
    upload = SimpleUploadedFile("list.csv", as_csv(GOOD, lead(2, wire="W075RD")))
    answer = client.post(at("new-parts-list", job.pk), {"file": upload})
    parts = PartsList.objects.get()
    assert answer.url == at("parts-columns", parts.pk)

    page = client.get(answer.url)
    assert "Wire: W-075-RD, W075RD" in page.content.decode()
    initial = page.context["page"].form.initial
    typed = {name: initial.get(name, "") for name in page.context["page"].form.fields}
    assert client.post(answer.url, typed | {"wire": ""}).status_code == 422
    assert client.post(answer.url, typed).url == at("parts-list", parts.pk)

    page = client.get(at("parts-list", parts.pk))
    assert "There is no wire W075RD in use in the catalogue. There is one that is written W-075-RD." in page.content.decode()
    assert not page.context["page"].can_make
    assert client.post(at("parts-sheet", parts.pk)).status_code == 422
    assert not SetupSheet.objects.exists()

    line = page.context["page"].lines[1]
    assert (line.is_open, page.context["page"].lines[0].is_open) == (True, False)
    assert client.get(at("parts-list", parts.pk) + "?open=0").context["page"].lines[0].is_open
    client.post(line.correct_url, {"wire": "W-075-RD", "was_wire": "W075RD", "tool_a": "AP-031", "was_tool_a": "AP-031"})
    assert PartsList.objects.get().corrections == {"1/wire": "W-075-RD"}
    assert client.get(at("parts-list", parts.pk)).context["page"].can_make
    sheet_url = client.post(at("parts-sheet", parts.pk)).url
    assert client.get(sheet_url).context["page"].broken == []
    assert at("parts-list", parts.pk) not in client.get(at("job", job.pk)).content.decode()
    assert client.get(at("new-parts-list", job.pk)).context["page"].earlier[0].sheet == SetupSheet.objects.get()


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"lead,wire\n"])
def test_upload_that_is_no_list_comes_back_with_the_reason(signed_in, cast, job, data):
    answer = signed_in(cast.planner).post(at("new-parts-list", job.pk), {"file": SimpleUploadedFile("list.xlsx", data)})
    assert (answer.status_code, list(answer.context["page"].form.errors)) == (422, ["file"])
    assert not PartsList.objects.exists()


def test_upload_without_a_file_and_by_a_role_that_may_not(signed_in, cast, job):
    assert signed_in(cast.planner).post(at("new-parts-list", job.pk)).status_code == 422
    client = signed_in(cast.operator)
    assert client.get(at("new-parts-list", job.pk)).status_code == 403
    assert client.post(at("new-parts-list", job.pk), {"file": SimpleUploadedFile("list.csv", as_csv(GOOD))}).status_code == 422
    assert not PartsList.objects.exists()


# --- The acts ---------------------------------------------------------------------------------------------------------------------


def test_sheet_has_every_end_with_targets_and_the_pieces_of_all_harnesses(take, cast, catalogue):
    parts = take(GOOD, lead(2, right="-", quantity="1"))
    sheet = sheet_from_parts_list(parts=parts, by=cast.planner, at=now())
    made = list(sheet.terminations.prefetch_related("termination_wires__wire"))
    assert [(t.position, t.lead, t.end, t.quantity, t.tool_row, t.specification) for t in made] == [
        (1, "1", "A", 200, catalogue.row, catalogue.specification),
        (2, "1", "B", 200, catalogue.row, catalogue.specification),
        (3, "2", "A", 100, catalogue.row, catalogue.specification),
    ]
    assert [t.ordered_wires() for t in made] == [[catalogue.wire]] * 3
    assert (str(made[0].crimp_height_nominal_mm), str(made[0].csa_mm2), made[0].setting) == ("1.4000", "0.7540", "C3 I2")


def test_sheet_from_a_list_says_the_same_as_one_planned_by_hand(take, cast, catalogue, job):
    by_list = sheet_from_parts_list(parts=take(lead(1, right="", quantity="1")), by=cast.planner, at=now()).terminations.get()
    by_hand = factories.draft(cast, catalogue, job=job, lead="1", circuit="").terminations.get()
    differ = [
        field.attname
        for field in Termination._meta.concrete_fields
        if getattr(by_list, field.attname) != getattr(by_hand, field.attname) and field.attname not in ("id", "sheet_id")
    ]
    assert differ == []


def test_ledger_names_file_corrections_and_terminations(take, cast):
    parts = take(lead(1, wire="W075RD", right=""))
    correct_parts_list(parts=parts, row=0, changes={"wire": "W-075-RD"}, by=cast.planner, at=now())
    sheet_from_parts_list(parts=parts, by=cast.planner, at=now())
    content = json.loads(LedgerEntry.objects.get(kind="sheet.terminations_planned").text)["content"]
    assert content["source"]["parts_list"] == "list.csv"
    assert content["source"]["corrections"] == [{"line": 2, "column": "wire", "file": "W075RD", "read_as": "W-075-RD"}]
    assert [(t["lead"], t["end"]) for t in content["terminations"]] == [("1", "A")]


def test_two_leads_in_one_barrel_are_one_termination_with_both_wires(take, cast, catalogue):
    thin = factories.make_wire("W-034-WH", "7x0.25", "1.2")
    parts = take(
        lead(1, wire="W-034-WH", right="", quantity="1"), lead(2, wire="W-034-WH", left="", right="", quantity="1", together="1/A")
    )
    made = sheet_from_parts_list(parts=parts, by=cast.planner, at=now()).terminations.get()
    assert (made.lead, made.ordered_wires(), made.csa_mm2) == ("1+2", [thin, thin], 2 * thin.csa_mm2)


def test_sheet_is_all_or_nothing_and_made_once(take, cast):
    broken = take(GOOD, lead(2, wire="W-999"))
    assert refused(sheet_from_parts_list, parts=broken, by=cast.planner) == ["parts.open"]
    assert refused(sheet_from_parts_list, parts=take(lead(1, left="", right="")), by=cast.planner) == ["parts.empty"]
    assert refused(sheet_from_parts_list, parts=take(GOOD), by=cast.operator) == ["person.role"]
    assert not SetupSheet.objects.exists()
    parts = take(GOOD)
    sheet_from_parts_list(parts=parts, by=cast.planner, at=now())
    assert refused(sheet_from_parts_list, parts=parts, by=cast.planner) == ["parts.made"]
    assert refused(correct_parts_list, parts=parts, row=0, changes={"wire": "x"}, by=cast.planner) == ["parts.made"]
    assert SetupSheet.objects.count() == 1


def test_list_without_a_needed_column_makes_no_sheet(cast, job, take):
    parts = take_parts_list(job=job, file_name="x.csv", data=b"lead,colour\n1,red\n", by=cast.planner, at=now())
    assert "parts.column.needed" in refused(sheet_from_parts_list, parts=parts, by=cast.planner)
    chosen = {"lead": 0, "wire": 5, "left_terminal": 1}
    assert refused(map_parts_list, parts=parts, mapping=chosen, length_unit="", by=cast.planner) == ["parts.column.missing"]
    twice = {"lead": 0, "wire": 1, "left_terminal": 1}
    assert refused(map_parts_list, parts=parts, mapping=twice, length_unit="furlong", by=cast.planner) == [
        "parts.column.twice",
        "data.unknown",
    ]


def test_length_unit_chosen_with_the_columns(take, cast, job):
    data = b"lead,wire,length,left terminal\n1,W-075-RD,10,T-250-F\n"
    parts = take_parts_list(job=job, file_name="x.csv", data=data, by=cast.planner, at=now())
    assert misfits(parts) == {2: [("parts.length.unit", "length")]}
    columns = {"lead": 0, "wire": 1, "length": 2, "left_terminal": 3}
    parts = map_parts_list(parts=parts, mapping=columns, length_unit="in", by=cast.planner, at=now())
    made = sheet_from_parts_list(parts=parts, by=cast.planner, at=now()).terminations.get()
    assert str(made.wire_length_mm) == "254.0000"


def test_correction_everywhere_and_back_to_what_the_file_says(take, cast):
    parts = take(lead(1, wire="W1"), lead(2, wire="W2"), lead(3, wire="W1"))
    act = {"parts": parts, "by": cast.planner, "at": now()}
    fixed = correct_parts_list(row=0, changes={"wire": " W-075-RD "}, everywhere=True, **act)
    assert fixed.corrections == {"0/wire": "W-075-RD", "2/wire": "W-075-RD"}
    assert correct_parts_list(row=0, changes={"wire": "W1"}, **act).corrections == {"2/wire": "W-075-RD"}
    assert refused(correct_parts_list, parts=parts, row=9, changes={"wire": "x"}, by=cast.planner) == ["parts.cell.where"]
    assert refused(correct_parts_list, parts=parts, row=0, changes={"colour": "x"}, by=cast.planner) == ["parts.cell.where"]
    assert refused(correct_parts_list, parts=parts, row=0, changes={"wire": "x" * 201}, by=cast.planner) == ["parts.cell.long"]
    assert refused(correct_parts_list, parts=parts, row=0, changes={"wire": "x"}, by=cast.auditor) == ["person.role"]
