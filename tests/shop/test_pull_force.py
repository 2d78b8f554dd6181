from decimal import Decimal

import pytest

from shop.conductor import parse_size
from shop.pull_force import NoRow, minimum_pull_force, rows_of, standards


def test_gauge_table_is_read_by_the_named_gauge_not_by_the_stranding():
    wire = parse_size("AWG 18 (19/30)")
    row = minimum_pull_force("ul-486a", awg=wire.awg, csa_mm2=wire.csa_mm2)
    assert (row.force_n, row.force_lbf, row.size) == (Decimal("89.0"), Decimal(20), "18")


def test_metric_table_is_read_by_the_nominal_area():
    row = minimum_pull_force("iec-60352-2", csa_mm2=parse_size("0.50 mm²").csa_mm2)
    assert (row.force_n, row.named_size) == (Decimal(60), "0.5 mm²")


def test_value_from_memory_says_so():
    row = minimum_pull_force("iec-60352-2", csa_mm2=Decimal("0.5"))
    assert row.status == "from memory"
    assert not row.is_confirmed
    assert minimum_pull_force("ul-486a", awg="18").is_confirmed


def test_value_with_a_conflict_is_not_called_confirmed():
    row = minimum_pull_force("ul-486a", awg="2/0")
    assert not row.is_confirmed
    assert "1235.0 N" in row.note


@pytest.mark.parametrize(
    ("standard", "asked", "below", "above"),
    [
        ("ul-486a", {"awg": "17"}, "18", "16"),
        ("ul-486a", {"awg": "40"}, None, "30"),
        ("mil-t-7928", {"awg": "4"}, "6", "2"),
        ("ul-486a", {"csa_mm2": Decimal("0.5")}, "22", "20"),
        ("iec-60352-2", {"csa_mm2": Decimal("0.6")}, "0.5", "0.75"),
        ("iec-60352-2", {"awg": "20"}, "0.5", "0.75"),
        ("qct-29106", {"csa_mm2": Decimal(150)}, "120", None),
    ],
)
def test_size_without_a_row_is_refused_with_its_neighbours(standard, asked, below, above):
    with pytest.raises(NoRow) as refused:
        minimum_pull_force(standard, **asked)
    found = [row.size if row else None for row in (refused.value.below, refused.value.above)]
    assert found == [below, above]
    assert "Nothing is interpolated" in str(refused.value)


def test_rows_of_low_confidence_are_not_offered():
    assert len(standards()) == 6
    assert not any("22520" in standard.title for standard in standards())
    assert not any("do not use" in row.note for standard in standards() for row in rows_of(standard.code))


def test_no_standard_lets_anyone_interpolate():
    assert not any(standard.interpolation_allowed for standard in standards())


@pytest.mark.parametrize("code", [standard.code for standard in standards()])
def test_force_never_falls_as_the_wire_grows(code):
    forces = [row.force_n for row in rows_of(code)]
    assert forces == sorted(forces)
    assert all(row.source and row.status for row in rows_of(code))


def test_question_without_a_size_or_with_a_wrong_gauge_is_refused():
    with pytest.raises(ValueError, match="a gauge or an area"):
        minimum_pull_force("ul-486a")
    with pytest.raises(ValueError, match="not a gauge"):
        minimum_pull_force("ul-486a", awg="red")
    with pytest.raises(KeyError):
        minimum_pull_force("nobody", awg="20")
