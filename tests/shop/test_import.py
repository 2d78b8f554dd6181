import io
import json

import pytest
from django.core.management import call_command
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from records.models import LedgerEntry
from shop.acts.catalogue_import import ImportRefused, import_rows, template_csv
from shop.catalogue import KINDS
from shop.clock import now
from shop.command import Stopped
from shop.finding import Refused
from shop.materials import Wire
from shop.people import Person
from shop.tools import ToolRow

GOOD = "part_number,size,insulation_od_mm\nW-1,AWG 20 (19/32),0.075 in\nW-2,0.5 mm²,1.6\n"


def bring_in(text, cast, kind="wires", **options):
    data = text if isinstance(text, bytes) else text.encode()
    return import_rows(kind=kind, file_name="list.csv", data=data, by=cast.quality, at=now(), **options)


def wrong(text, cast, kind="wires"):
    with pytest.raises(ImportRefused) as refused:
        bring_in(text, cast, kind)
    return [(error.line, error.column, error.rule) for error in refused.value.report.errors]


def refusal(text, cast, kind="wires"):
    with pytest.raises(Refused) as refused:
        bring_in(text, cast, kind)
    return {(finding.rule, str(finding.compared.get("column", ""))) for finding in refused.value.findings}


def test_import_adds_every_row_and_records_the_file_once(cast):
    report = bring_in(GOOD, cast)
    assert (report.rows, report.added, report.changed, report.unchanged) == (2, 2, 0, 0)
    assert set(Wire.objects.values_list("part_number", flat=True)) == {"W-1", "W-2"}
    content = json.loads(LedgerEntry.objects.get(kind="catalogue.imported").text)["content"]
    assert (content["kind"], content["file"], content["sha256"], content["added"]) == ("wires", "list.csv", report.sha256, 2)


@pytest.mark.parametrize("text", ["\ufeff" + GOOD, GOOD.replace(",", ";"), GOOD.replace("\n", "\r\n"), GOOD + "\n,,\n"])
def test_import_reads_what_spreadsheets_save(text, cast):
    assert bring_in(text, cast).added == 2


def test_import_of_the_same_file_again_changes_nothing(cast):
    bring_in(GOOD, cast)
    report = bring_in(GOOD, cast)
    assert (report.added, report.changed, report.unchanged) == (0, 0, 2)
    assert LedgerEntry.objects.filter(kind="catalogue.imported").count() == 1


def test_import_changes_what_exists_and_leaves_missing_columns_alone(cast, catalogue):
    report = bring_in("part_number,size,insulation_od_mm\nW-075-RD,24x0.2,2.0\n", cast)
    assert (report.added, report.changed) == (0, 1)
    wire = Wire.objects.get(part_number="W-075-RD")
    assert (str(wire.insulation_od_mm), wire.colour, wire.temperature_rating_c) == ("2.0000", "red", 105)
    content = json.loads(LedgerEntry.objects.get(kind="catalogue.imported").text)["content"]
    assert content["changes"] == [{"key": "W-075-RD", "before": {"insulation_od_mm": "1.9"}, "after": {"insulation_od_mm": "2"}}]


def test_import_names_every_bad_row_and_imports_none(cast, catalogue):
    text = (
        "part_number;size;insulation_od_mm;is_active\n"
        "W-1;AWG 20 (19/32);1.8;yes\n"
        "W-2;16;2 kg;perhaps\n"
        ";0.5 mm²;1.6;yes\n"
        "W-3;0.5 mm²;1.6\n"
        "W-075-RD;24x0.2;-1;yes\n"
        "W-1;0.5 mm²;1.6;no\n"
    )
    assert wrong(text, cast) == [
        (3, "size", "data.invalid"),
        (3, "insulation_od_mm", "data.invalid"),
        (3, "is_active", "data.invalid"),
        (4, "part_number", "data.required"),
        (5, "", "import.rows"),
        (6, "", "data.positive"),
        (7, "part_number", "data.invalid"),
    ]
    assert not Wire.objects.filter(part_number__in=["W-1", "W-2", "W-3"]).exists()
    assert not LedgerEntry.objects.exists()


def test_import_counts_lines_of_the_file_not_rows(cast):
    text = 'part_number,size,insulation_od_mm,description\nW-1,0.5 mm²,1.6,"two\nlines"\n\nW-2,plenty,1.6,one\n'
    assert wrong(text, cast) == [(5, "size", "data.invalid")]


def test_import_refuses_unknown_and_missing_columns_together(cast):
    assert refusal("part_number,weight,size\nW-1,3,0.5 mm²\n", cast) == {("import.column", "weight"), ("import.header", "insulation_od_mm")}


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"part_number,size,insulation_od_mm\n",
        "part_number,size,insulation_od_mm\nW-1,0.5 mm²,1.6\n".encode("latin-1"),
        b"part_number,size,insulation_od_mm\nW-1,\x00,1.6\n",
        b'part_number,size,insulation_od_mm\nW-1,"0.5,1.6\n',
        b"part_number,size,insulation_od_mm,size\nW-1,0.5 mm2,1.6,1\n",
    ],
)
def test_import_of_a_file_that_cannot_be_read(data, cast):
    assert {rule for rule, _column in refusal(data, cast)} <= {"import.file", "import.header"}
    assert not Wire.objects.exists()


def test_import_of_a_file_that_is_too_large(cast, settings):
    settings.UPLOAD_LIMIT_BYTES = 20
    assert {rule for rule, _column in refusal(GOOD, cast)} == {"import.file"}


def test_import_dry_run_writes_nothing(cast):
    report = bring_in(GOOD, cast, dry_run=True)
    assert (report.added, report.dry_run) == (2, True)
    assert not Wire.objects.exists()
    assert not LedgerEntry.objects.exists()


def test_import_by_a_role_that_may_not(cast):
    with pytest.raises(Refused) as refused:
        import_rows(kind="wires", file_name="list.csv", data=GOOD.encode(), by=cast.operator, at=now())
    assert [finding.rule for finding in refused.value.findings] == ["person.role"]
    assert not Wire.objects.exists()


def test_import_of_a_kind_there_is_not(cast):
    assert {rule for rule, _column in refusal(GOOD, cast, "cables")} == {"import.kind"}


def test_import_finds_other_items_by_their_numbers(cast, catalogue):
    text = "tool,terminal,csa_min_mm2,csa_max_mm2,setting\nAP-031,T-M5-R,1,2.5,C4\nAP-999,T-M5-R,1,2.5,C4\n"
    assert wrong(text, cast, "tool-rows") == [(3, "tool", "data.unknown")]
    assert bring_in(text.rpartition("AP-999")[0], cast, "tool-rows").added == 1
    assert ToolRow.objects.filter(tool=catalogue.tool, terminal=catalogue.ring, setting="C4").exists()


def test_import_does_not_release_a_held_lot(cast, catalogue):
    text = "terminal,lot_number,received_on,quantity,state\nT-250-F,TL-2002,2026-01-01,5000,released\n"
    assert wrong(text, cast, "terminal-lots") == [(2, "state", "data.invalid")]


def test_import_takes_several_roles_in_one_cell(cast):
    bring_in('username,name,roles\nnora,Nora Dahl,"planner, quality"\n', cast, "people")
    assert Person.objects.get(username="nora").roles == {"planner", "quality"}


@pytest.mark.parametrize("slug", KINDS)
def test_template_names_the_columns_that_an_import_takes(slug, cast):
    assert {rule for rule, _column in refusal(template_csv(KINDS[slug]), cast, slug)} == {"import.file"}  # in order, but without rows


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(data=st.binary(max_size=200))
def test_import_of_anything_at_all_is_refused_in_words(data, cast):
    with pytest.raises(Refused):
        bring_in(b"part_number,size,insulation_od_mm\nW-1,plenty,1.6\n" + data, cast)
    assert not Wire.objects.exists()


# --- Command line ----------------------------------------------------------------------------------------------------------------


@pytest.fixture
def file(tmp_path):
    def write(text):
        path = tmp_path / "list.csv"
        path.write_text(text)
        return path

    return write


def test_import_command_acts_as_the_system(db, file):
    out = io.StringIO()
    call_command("import", "wires", file(GOOD), stdout=out)
    assert out.getvalue() == "list.csv: 2 rows; 2 added, 0 changed, 0 unchanged\n"
    assert LedgerEntry.objects.get(kind="catalogue.imported").by == Person.system()


def test_import_command_prints_each_bad_row_and_leaves_with_1(db, file):
    out = io.StringIO()
    with pytest.raises(SystemExit) as left:
        call_command("import", "wires", file(GOOD + "W-3,plenty,1.6\n"), stdout=out, stderr=io.StringIO())
    assert left.value.code == 1
    assert out.getvalue().startswith('line 4, column size: "plenty": It is not a conductor size.')


def test_import_command_as_somebody_who_may_not(cast, file):
    with pytest.raises(Stopped) as refused:
        call_command("import", "wires", file(GOOD), "--as", "operator")
    assert refused.value.returncode == 2
    assert not Wire.objects.exists()


@pytest.mark.parametrize(
    ("kind", "name", "username"), [("wires", "missing.csv", None), ("cables", "list.csv", None), ("wires", "list.csv", "nobody")]
)
def test_import_command_wrong_use(db, file, kind, name, username):
    path = file(GOOD).with_name(name)
    with pytest.raises(Stopped) as refused:
        call_command("import", kind, path, username=username)
    assert refused.value.returncode == 2


def test_import_command_for_machines(db, file):
    out = io.StringIO()
    call_command("import", "wires", file(GOOD), "--dry-run", "--json", stdout=out)
    report = json.loads(out.getvalue())
    assert (report["added"], report["dry_run"], report["errors"]) == (2, True, [])
    assert not Wire.objects.exists()
