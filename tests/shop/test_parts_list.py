import csv
import io
from decimal import Decimal

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop import parts_list, spreadsheet
from shop.parts_list import COLUMNS, NotAPartsList, Row, close_to, guess_mapping, mapping_findings, read_leads, read_table, unit_in

HEADER = ("Lead", "Wire", "Left terminal", "Right terminal", "Length (mm)", "Qty", "Circuit", "From", "To", "With")


def as_csv(*rows, delimiter=","):
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue().encode()


def as_workbook(*rows):
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def read(*rows, unit="mm", corrections=None):
    table = read_table(as_csv(HEADER, *rows))
    return read_leads(table.rows, guess_mapping(table.header), corrections or {}, unit)


def row(lead="1", wire="W1", left="T1", right="", length="450", quantity="1", circuit="", start="", to="", together=""):
    return (lead, wire, left, right, length, quantity, circuit, start, to, together)


def rules(reading):
    return {line: [(f.rule, f.field) for f in found] for line, found in reading.findings.items()}


# --- The file ---------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_csv_with_any_of_three_delimiters(delimiter):
    table = read_table(as_csv(("lead", "wire"), ("1", "W1"), ("2", "W2"), delimiter=delimiter))
    assert (table.header, [r.cells for r in table.rows]) == (("lead", "wire"), [("1", "W1"), ("2", "W2")])


def test_workbook_reads_as_the_same_list_in_csv():
    rows = [("Lead", "Wire", "Length (mm)"), (1, "W1", 450.0), (2, "W2", 462.5)]
    assert read_table(as_workbook(*rows)).rows == read_table(as_csv(rows[0], ("1", "W1", "450"), ("2", "W2", "462.5"))).rows


def test_titles_above_and_empty_lines_are_left_out_and_lines_keep_their_number():
    table = read_table(b"Harness H-5501\n\nlead,wire\n1,W1\n\n2,W2\n")
    assert (table.header, [(r.line, r.cells) for r in table.rows]) == (("lead", "wire"), [(4, ("1", "W1")), (6, ("2", "W2"))])


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", "it is empty"),
        (b"lead,wire\n", "it has column names, but no rows below them"),
        ("lead,wire\n1,Gr\u00fcn\n".encode("latin-1"), "is not UTF-8"),
        (b"PK\x03\x04 no workbook", "it is not a workbook that can be read"),
        (b'lead,wire\n1,"W1\n', "is not CSV"),
        (b"lead,wire\n1,\0\n", "neither CSV nor XLSX"),
        (as_csv([f"c{i}" for i in range(61)], ["x"] * 61), "more than 60 columns"),
    ],
)
def test_file_that_is_no_list(data, reason):
    with pytest.raises(NotAPartsList, match=reason):
        read_table(data)


def test_list_with_too_many_rows():
    with pytest.raises(NotAPartsList, match="more than 5000 rows"):
        read_table(as_csv(("lead", "wire"), *[("1", "W1")] * 5001))


def test_workbook_that_unpacks_to_too_much(monkeypatch):
    monkeypatch.setattr(spreadsheet, "MOST_UNPACKED_BYTES", 1000)
    with pytest.raises(NotAPartsList, match="unpacks"):
        read_table(as_workbook(("lead", "wire"), ("1", "W1")))


# --- Columns ----------------------------------------------------------------------------------------------------------------------


def test_guess_finds_each_column_of_our_own_header():
    mapping = guess_mapping(HEADER)
    assert mapping == {
        "lead": 0, "wire": 1, "left_terminal": 2, "right_terminal": 3, "length": 4, "quantity": 5, "circuit": 6,
        "from": 7, "to": 8, "with": 9,
    }  # fmt: skip


def test_guess_takes_a_wire_length_for_a_length_and_a_wire_number_for_the_lead():
    assert guess_mapping(("Wire No.", "Wire Length [in]", "WIRE_TYPE", "Terminal A", "Remarks")) == {
        "lead": 0,
        "length": 1,
        "wire": 2,
        "left_terminal": 3,
    }


@given(st.lists(st.sampled_from([word for words in parts_list.SYNONYMS.values() for word in words]), max_size=12))
def test_guess_uses_each_column_once(header):
    mapping = guess_mapping(header)
    assert len(set(mapping.values())) == len(mapping)
    assert all(0 <= position < len(header) for position in mapping.values())
    assert not [f for f in mapping_findings(mapping, header) if f.rule in ("parts.column.twice", "parts.column.missing")]


@pytest.mark.parametrize(
    ("name", "unit"),
    [("Length (mm)", "mm"), ("Cut length [IN]", "in"), ("Length in", "in"), ("Length", ""), ("Length (cut)", ""), ("Metre (m)", "m")],
)
def test_unit_in_a_column_name(name, unit):
    assert unit_in(name) == unit


def test_mapping_without_a_terminal_or_with_one_column_twice():
    assert [f.field for f in mapping_findings({"lead": 0, "wire": 1}, HEADER)] == ["left_terminal"]
    twice = mapping_findings({"lead": 0, "wire": 0, "left_terminal": 2}, HEADER)
    assert [(f.rule, f.field) for f in twice] == [("parts.column.twice", "wire")]
    beyond = mapping_findings({"lead": 0, "wire": 1, "left_terminal": 10}, HEADER)
    assert [(f.rule, f.field) for f in beyond] == [("parts.column.missing", "left_terminal")]


# --- Leads ------------------------------------------------------------------------------------------------------------------------


def test_lead_has_two_ends_left_is_a_and_right_is_b():
    reading = read(row(left="T1", right="T2", circuit="P+"), row(lead="2", left="-", right="T2"), row(lead="3", left="", right="none"))
    assert [(e.lead, e.end_name, e.terminal, e.wires, e.circuit) for e in reading.ends] == [
        ("1", "A", "T1", ("W1",), "P+"),
        ("1", "B", "T2", ("W1",), "P+"),
        ("2", "B", "T2", ("W1",), ""),
    ]
    assert reading.findings == {}


@pytest.mark.parametrize(
    ("text", "unit", "length_mm"),
    [
        ("450", "mm", "450"),
        ("462,5", "mm", "462.5"),
        ("18.5", "in", "469.9"),
        ("18.5 in", "mm", "469.9"),
        ("1.2 m", "", "1200"),
        ('2"', "", "50.8"),
        ("45", "cm", "450"),
    ],
)
def test_length_in_its_unit(text, unit, length_mm):
    reading = read(row(length=text), unit=unit)
    assert (reading.leads[0].length_mm, reading.findings) == (Decimal(length_mm), {})


@pytest.mark.parametrize(
    ("text", "unit", "rule"),
    [
        ("450", "", "parts.length.unit"),
        ("1,234", "mm", "parts.length"),
        ("long", "mm", "parts.length"),
        ("45 N", "mm", "parts.length"),
        ("-3", "mm", "parts.length"),
        ("2000 m", "mm", "parts.length"),
    ],
)
def test_length_that_could_be_misread_is_an_error(text, unit, rule):
    reading = read(row(length=text), unit=unit)
    assert (reading.leads[0].length_mm, rules(reading)) == (None, {0: [(rule, "length")]})


@pytest.mark.parametrize("text", ["0", "1.5", "-1", "two", "1,000"])
def test_quantity_that_is_no_count(text):
    assert rules(read(row(quantity=text))) == {0: [("parts.quantity", "quantity")]}


def test_quantity_left_empty_is_one():
    assert read(row(quantity="")).leads[0].quantity == 1


def test_row_errors_name_line_and_column():
    reading = read(row(), row(lead=""), row(lead="1", wire=""))
    assert rules(reading) == {1: [("parts.cell.empty", "lead")], 2: [("parts.cell.empty", "wire"), ("parts.lead.twice", "lead")]}
    assert [lead.line for lead in reading.leads] == [2, 3, 4]


def test_texts_that_a_sheet_cannot_keep_are_refused_not_cut():
    reading = read(row(lead="L" * 61), row(lead="2", wire="W" * 250), row(lead="3", circuit="C" * 61))
    assert rules(reading) == {0: [("parts.cell.long", "lead")], 1: [("parts.cell.long", "wire")], 2: [("parts.cell.long", "circuit")]}
    many = read(row(lead="L" * 40), row(lead="M" * 40, left="", right="T2", together="L" * 40 + "/A"))
    assert rules(many) == {0: [("parts.cell.long", "lead")]}


def test_correction_stands_in_for_the_cell():
    reading = read(row(wire="W-1", length="long"), corrections={"0/wire": "W1", "0/length": "45 cm", "0/tool_a": "AP-1"})
    assert (reading.findings, reading.ends[0].wires, reading.ends[0].length_mm, reading.ends[0].tool) == ({}, ("W1",), Decimal(450), "AP-1")


# --- Shared barrels ---------------------------------------------------------------------------------------------------------------


def test_leads_that_share_a_barrel_are_one_termination():
    reading = read(
        row(), row(lead="2", wire="W2", left="", right="T9", together="1/A"), row(lead="3", wire="W3", left="", together="B+1/A")
    )
    assert [(e.lead, e.end_name, e.terminal, e.wires) for e in reading.ends] == [
        ("1+2+3", "A+A+B", "T1", ("W1", "W2", "W3")),
        ("2", "B", "T9", ("W2",)),
    ]
    assert reading.findings == {}


@pytest.mark.parametrize(
    ("changed", "rule"),
    [
        ({"together": "9/A"}, "parts.with"),
        ({"together": "2/A"}, "parts.with"),
        ({"together": "1"}, "parts.with"),
        ({"together": "1/B"}, "parts.with.terminal"),
        ({"together": "1/A", "left": "T2"}, "parts.with.terminal"),
        ({"together": "1/A", "quantity": "2"}, "parts.with.quantity"),
    ],
)
def test_shared_barrel_that_cannot_be(changed, rule):
    reading = read(row(), row(**{"lead": "2", "left": "", "right": "T3"} | changed))
    assert [f.rule for f in reading.findings[1]] == [rule]


# --- Round trip -------------------------------------------------------------------------------------------------------------------

word = st.text(st.characters(codec="utf-8", categories=("L", "N")), min_size=1, max_size=12)
cell = st.one_of(st.just(""), word)
leads = st.lists(
    st.tuples(word, word, word, word, st.integers(1, 99_999), st.integers(1, 50), cell), min_size=1, max_size=15, unique_by=lambda t: t[0]
)


@given(leads, st.permutations(range(7)), st.sampled_from([as_csv, as_workbook]))
def test_leads_written_come_back_whatever_the_order_of_the_columns(written, order, write):
    header = ("Lead", "Wire", "Left terminal", "Right terminal", "Length (mm)", "Qty", "Circuit")
    rows = [[str(lead[i]) for i in order] for lead in written]
    table = read_table(write([header[i] for i in order], *rows))
    reading = read_leads(table.rows, guess_mapping(table.header), {}, "mm")
    names = ("lead", "wire", "left_terminal", "right_terminal")
    back = [(*(lead.texts[name] for name in names), lead.length_mm, lead.quantity, lead.texts["circuit"]) for lead in reading.leads]
    assert back == [(*lead[:4], Decimal(lead[4]), *lead[5:]) for lead in written]
    bare = sum(terminal.lower() in parts_list.NONE for lead in written for terminal in lead[2:4])
    assert len(reading.ends) == 2 * len(written) - bare


@given(st.dictionaries(st.sampled_from(COLUMNS), st.text(max_size=30), max_size=10))
def test_any_text_in_a_cell_is_read_or_refused_but_never_breaks(texts):
    cells = tuple(texts.get(name, "") for name in COLUMNS)
    reading = read_leads([Row(2, cells), Row(3, cells)], {name: i for i, name in enumerate(COLUMNS)}, {}, "")
    assert len(reading.leads) == 2
    assert all(f.field in COLUMNS for found in reading.findings.values() for f in found)


def test_close_name_differs_by_signs_only():
    assert close_to("rx48", ["RX-48", "RX-63"]) == "RX-48"
    assert close_to("RX-49", ["RX-48", "RX-63"]) == ""
    assert close_to("rx48", ["RX-48", "RX 48"]) == ""
