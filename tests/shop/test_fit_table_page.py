"""The fit matrix page: what it compares, how it is narrowed and paged, what a cell opens, and the file it gives."""

import csv
import io

import pytest
from django.urls import reverse

from shop.pages import fit_table
from tests import factories


@pytest.fixture
def page(signed_in, cast, catalogue):
    client = signed_in(cast.planner)

    def ask(**query):
        return client.get(reverse("plan:fit"), query).context["page"]

    return ask


def table(page):
    """{row: {tool: word}}"""
    return {line.number: {head.number: cell.word for head, cell in zip(page.heads, line.cells, strict=True)} for line in page.lines}


def test_terminal_against_wires_and_tools(page):
    shown = page(number="T-250-F")
    assert table(shown) == {
        "W-035-BU": {"AP-031": "misfit", "AP-040": "misfit"},
        "W-075-GN": {"AP-031": "misfit", "AP-040": "misfit"},
        "W-075-RD": {"AP-031": "fits", "AP-040": "misfit"},
        "W-250-BK": {"AP-031": "misfit", "AP-040": "misfit"},
    }
    assert {line.number: line.fits for line in shown.lines}["W-075-RD"] == 1
    assert shown.count == "4 wires, 2 tools; 1 with a tool that fits"


def test_wire_against_terminals_and_tools(page):
    assert table(page(of="wire", number="W-075-RD")) == {
        "T-250-F": {"AP-031": "fits", "AP-040": "misfit", "HT-007": "misfit"},
        "T-M5-R": {"AP-031": "misfit", "AP-040": "misfit", "HT-007": "misfit"},
    }


def test_what_is_not_recorded_needs_data(page, catalogue):
    catalogue.row.od_max_mm = None
    catalogue.row.save()
    assert table(page(number="T-250-F", q="RD"))["W-075-RD"]["AP-031"] == "needs data"


@pytest.mark.parametrize(
    ("query", "rows", "tools"),
    [
        ({"fits": "1"}, ["W-075-RD"], ["AP-031"]),
        ({"q": "blue"}, ["W-035-BU"], ["AP-031", "AP-040"]),
        ({"low": "0.7", "high": "AWG 18"}, ["W-075-GN", "W-075-RD"], ["AP-031", "AP-040"]),
        ({"tools": "all"}, ["W-035-BU", "W-075-GN", "W-075-RD", "W-250-BK"], ["AP-031", "AP-040", "HT-007"]),
        ({"kind": "hand tool", "tools": "all"}, ["W-035-BU", "W-075-GN", "W-075-RD", "W-250-BK"], ["HT-007"]),
    ],
)
def test_matrix_is_narrowed_by_the_address(page, query, rows, tools):
    shown = page(number="T-250-F", **query)
    assert ([line.number for line in shown.lines], [head.number for head in shown.heads]) == (rows, tools)


def test_retired_tools_and_wires_out_of_use_are_not_compared(page, catalogue):
    catalogue.tool_narrow.state = "retired"
    catalogue.tool_narrow.save()
    catalogue.wire.is_active = False
    catalogue.wire.save()
    shown = page(number="T-250-F")
    assert [head.number for head in shown.heads] == ["AP-031"]
    assert "W-075-RD" not in table(shown)


def test_nothing_named_or_an_unknown_number_is_answered(signed_in, cast, catalogue):
    client = signed_in(cast.planner)
    assert client.get(reverse("plan:fit")).status_code == 200
    answer = client.get(reverse("plan:fit"), {"number": "T-404"})
    assert (answer.status_code, list(answer.context["page"].form.errors)) == (422, ["number"])
    assert "There is no terminal T-404." in answer.content.decode()
    assert client.get(reverse("plan:fit"), {"number": "T-250-F", "low": "soup"}).status_code == 422


def test_cell_opens_every_finding_with_its_numbers(signed_in, cast, catalogue):
    client = signed_in(cast.planner)
    query = {"number": "T-250-F", "cell": f"{catalogue.wire_large.pk}-{catalogue.tool.pk}"}
    opened = client.get(reverse("plan:fit"), query).context["page"].opened
    assert (opened.title, opened.outcome) == ("W-250-BK in T-250-F on AP-031", "misfit")
    assert opened.findings[0].what == "Conductor 2.4544 mm² (W-250-BK) lies outside the range 0.5 to 1.5 mm² of terminal T-250-F."
    part = client.get(reverse("plan:fit"), query, headers={"HX-Request": "true"})
    assert "<html" not in part.content.decode()
    assert "2.4544" in part.content.decode()


def test_opened_cell_agrees_with_its_word_in_the_table(signed_in, cast, catalogue):
    client = signed_in(cast.planner)
    for of, number in (("terminal", "T-250-F"), ("wire", "W-075-RD"), ("wire", "W-250-BK"), ("terminal", "T-M5-R")):
        shown = client.get(reverse("plan:fit"), {"of": of, "number": number, "tools": "all"}).context["page"]
        for line in shown.lines:
            for cell in line.cells:
                assert client.get(reverse("plan:fit") + cell.url).context["page"].opened.word == cell.word


@pytest.mark.parametrize("cell", ["x-1", "1", "1-", "-1", "²-1", "999999-999999", "1-1-1", "9" * 50])
def test_cell_that_is_none_breaks_nothing(signed_in, cast, catalogue, cell):
    assert signed_in(cast.planner).get(reverse("plan:fit"), {"number": "T-250-F", "cell": cell}).status_code in (200, 404)


def test_both_axes_are_paged(page, catalogue, monkeypatch):
    monkeypatch.setattr(fit_table, "ROWS", 3)
    monkeypatch.setattr(fit_table, "TOOLS", 1)
    first, last = page(number="T-250-F"), page(number="T-250-F", page="2", tool_page="2")
    assert ([line.number for line in first.lines], [head.number for head in first.heads]) == (
        ["W-035-BU", "W-075-GN", "W-075-RD"],
        ["AP-031"],
    )
    assert ([line.number for line in last.lines], [head.number for head in last.heads]) == (["W-250-BK"], ["AP-040"])
    assert first.lines[-1].fits == 1  # of the whole table


def test_file_holds_the_whole_table_as_narrowed(signed_in, cast, catalogue, monkeypatch):
    monkeypatch.setattr(fit_table, "ROWS", 1)
    answer = signed_in(cast.planner).get(reverse("plan:fit-csv"), {"number": "T-250-F", "q": "W-075"})
    rows = list(csv.reader(io.StringIO(b"".join(answer).decode("utf-8-sig"))))
    assert rows == [
        ["part_number", "size", "AP-031", "AP-040"],
        ["W-075-GN", "0.754 mm², Ø 3.40 mm", "misfit", "misfit"],
        ["W-075-RD", "0.754 mm², Ø 1.90 mm", "fits", "misfit"],
    ]
    assert signed_in(cast.planner).get(reverse("plan:fit-csv")).status_code == 422


@pytest.mark.parametrize("wires", [1, 5])
def test_matrix_queries(signed_in, cast, catalogue, django_assert_num_queries, wires):
    for number in range(wires):
        factories.make_wire(f"W-{number}", "24x0.2", "1.9")
    client = signed_in(cast.planner)
    with django_assert_num_queries(12):
        client.get(reverse("plan:fit"), {"number": "T-250-F"})
