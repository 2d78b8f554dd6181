"""A catalogue kind as CSV and XLSX, and back without loss."""

from __future__ import annotations

import io

import openpyxl
import pytest
from django.core.management import call_command
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from records.demo.shop import KINDS as DEMO_KINDS
from records.demo.shop import load
from shop.acts.catalogue_import import ImportRefused, import_rows
from shop.catalogue import KINDS
from shop.catalogue_export import export_columns, export_rows
from shop.clock import now
from shop.command import Stopped
from shop.finding import Refused
from shop.materials import Wire
from shop.people import Person
from shop.spreadsheet import NotAWorkbook, csv_lines, read_workbook, write_workbook
from tests import factories
from tests.remembered import remembered


@pytest.fixture
@remembered
def demo_shop(db, settings):
    load(now(), lambda line: None)


def exported(slug, form):
    kind = KINDS[slug]
    rows = export_rows(kind, kind.items(factories.today()))
    if form == "csv":
        return "".join(csv_lines(export_columns(kind), rows)).encode()
    return write_workbook(str(kind.title), export_columns(kind), rows)


@pytest.mark.parametrize("form", ["csv", "xlsx"])
@pytest.mark.parametrize("slug", DEMO_KINDS)
def test_exported_kind_comes_back_with_nothing_changed(demo_shop, slug, form):
    report = import_rows(kind=slug, file_name=f"x.{form}", data=exported(slug, form), by=Person.system(), at=now(), trusted=True)

    assert report.rows == KINDS[slug].model._default_manager.exclude(**({"username": "system"} if slug == "people" else {})).count()
    assert (report.added, report.changed, report.unchanged) == (0, 0, report.rows)


def test_every_kind_of_the_catalogue_is_in_the_demo_and_so_in_this_round_trip():
    assert set(DEMO_KINDS) == set(KINDS)


def test_edited_workbook_changes_what_was_edited(demo_shop):
    book = openpyxl.load_workbook(io.BytesIO(exported("wires", "xlsx")))
    sheet = book.active
    column = [cell.value for cell in sheet[1]].index("insulation_od_mm") + 1
    row = next(r for r in range(2, sheet.max_row + 1) if sheet.cell(r, 1).value == "W075-BU")
    sheet.cell(row, column).value = 1.95  # a number, as a person would type it
    out = io.BytesIO()
    book.save(out)

    report = import_rows(kind="wires", file_name="w.xlsx", data=out.getvalue(), by=Person.system(), at=now(), trusted=True)

    assert (report.added, report.changed) == (0, 1)
    assert str(Wire.objects.get(part_number="W075-BU").insulation_od_mm.normalize()) == "1.95"


def test_bad_cell_of_a_workbook_is_named_by_line_and_column(demo_shop):
    data = write_workbook("w", ["part_number", "size", "insulation_od_mm"], [["A", "0.5 mm²", "1.6"], ["B", "seven", "1.6"]])

    with pytest.raises(ImportRefused) as refused:
        import_rows(kind="wires", file_name="w.xlsx", data=data, by=Person.system(), at=now(), trusted=True)

    assert [(e.line, e.column) for e in refused.value.report.errors] == [(3, "size")]
    assert not Wire.objects.filter(part_number="A").exists()


def test_damaged_workbook_is_refused_in_words(db):
    with pytest.raises(Refused) as refused:
        import_rows(kind="wires", file_name="w.xlsx", data=b"PK\x03\x04 nothing", by=Person.system(), at=now(), trusted=True)

    assert refused.value.findings[0].rule == "import.file"


def test_list_is_downloaded_with_its_own_filter(signed_in, cast, catalogue):
    client = signed_in(cast.auditor)

    answer = client.get(reverse("shop:export", args=["wires", "csv"]), {"q": "W-075"})

    lines = answer.content.decode("utf-8-sig").splitlines()
    assert lines[0].startswith("part_number,")
    assert [line.split(",")[0] for line in lines[1:]] == ["W-075-GN", "W-075-RD"]
    assert answer["Content-Disposition"] == 'attachment; filename="wires.csv"'


def test_workbook_download_opens_as_a_workbook(signed_in, cast, catalogue):
    answer = signed_in(cast.planner).get(reverse("shop:export", args=["tools", "xlsx"]))

    sheet = openpyxl.load_workbook(io.BytesIO(answer.content)).active
    assert [cell.value for cell in sheet["A"]] == ["asset_number", "AP-031", "AP-040", "HT-007"]


def test_export_takes_the_same_number_of_queries_for_one_row_and_for_three(catalogue, django_assert_num_queries):
    kind = KINDS["tool-rows"]
    items = kind.items(factories.today())
    for rows, count in ((items.filter(pk=catalogue.row.pk), 1), (items, 3)):
        with django_assert_num_queries(1):
            table = list(export_rows(kind, rows))
        assert len(table) == count


plain_cells = st.text(st.characters(blacklist_categories=("Cs", "Cc", "Zs", "Zl", "Zp"), max_codepoint=0xFFFD), min_size=1, max_size=20)


@given(st.lists(st.lists(plain_cells, min_size=3, max_size=3), min_size=1, max_size=8))
def test_cells_of_a_workbook_come_back_as_they_went(rows):
    header = ["a", "b", "c"]

    assert [cells for _line, cells in read_workbook(write_workbook("t", header, rows), most_rows=100)] == [header, *rows]


def test_formula_in_a_cell_stays_text():
    data = write_workbook("t", ["a"], [["=1+1"]])

    assert openpyxl.load_workbook(io.BytesIO(data)).active["A2"].data_type == "s"


def test_workbook_longer_than_allowed_is_refused_and_not_cut_off():
    with pytest.raises(NotAWorkbook, match="more than 2 rows"):
        read_workbook(write_workbook("t", ["a"], [["1"], ["2"], ["3"]]), most_rows=2)


@pytest.mark.parametrize("name", ["w.csv", "w.xlsx"])
def test_export_command_writes_a_file_that_import_takes_back(demo_shop, tmp_path, capsys, name):
    call_command("export", "wires", str(tmp_path / name))
    call_command("import", "wires", str(tmp_path / name))

    said = capsys.readouterr().out.splitlines()
    assert said == [f"{tmp_path / name}: 12 wires", f"{name}: 12 rows; 0 added, 0 changed, 12 unchanged"]


def test_export_of_an_unknown_kind_is_one_line_and_exit_2(db, tmp_path):
    with pytest.raises(Stopped, match="There is no kind bolts") as stopped:
        call_command("export", "bolts", str(tmp_path / "b.csv"))

    assert stopped.value.returncode == 2
