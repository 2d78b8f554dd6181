from decimal import Decimal

import pytest

from shop.catalogue import KINDS
from tests.factories import days, make_press

D = Decimal
pytestmark = pytest.mark.django_db


def wire_form(**changed):
    return KINDS["wires"].form({
        "part_number": "W-9", "size": "19x0.2", "conductor_kind": "stranded", "material": "copper", "insulation_od_mm": "1.6",
    } | changed)  # fmt: skip


@pytest.mark.parametrize(
    ("size", "csa_mm2", "strands", "awg"),
    [("AWG 20", "0.5176", None, "20"), ("0.5 mm²", "0.5", None, ""), ("19x0.2", "0.5969", 19, ""), ("AWG 20 (19/32)", "0.6162", 19, "20")],
)
def test_wire_size_in_any_spelling_fills_area_strands_and_gauge(size, csa_mm2, strands, awg):
    form = wire_form(size=size)
    assert form.is_valid(), form.errors
    wire = form.instance
    assert (wire.size, wire.csa_mm2, wire.strands, wire.awg) == (size, D(csa_mm2), strands, awg)


@pytest.mark.parametrize("size", ["16", "22/19", "AWG 57", "plenty", "3x1.5"])
def test_wire_size_that_can_be_read_two_ways_or_not_at_all(size):
    assert list(wire_form(size=size).errors) == ["size"]


@pytest.mark.parametrize(
    ("text", "mm"), [("1.8", "1.8"), ("1,8 mm", "1.8"), ("0.0625 in", "1.5875"), ("62 mil", "1.5748"), ("0.06225 in", "1.5812")]
)
def test_insulation_diameter_in_mm_or_inch(text, mm):
    form = wire_form(insulation_od_mm=text)
    assert form.is_valid(), form.errors
    assert form.instance.insulation_od_mm == D(mm)


@pytest.mark.parametrize("text", ["thick", "2 kg", "1,234", "nan", "-1", "1.23456"])
def test_insulation_diameter_refused(text):
    assert list(wire_form(insulation_od_mm=text).errors)


def test_one_strand_is_a_solid_conductor():
    assert list(wire_form(size="1 x 0.8 mm").errors) == ["conductor_kind"]
    assert wire_form(size="1 x 0.8 mm", conductor_kind="solid").is_valid()


def test_yes_or_no_takes_no_other_word():
    assert wire_form(is_active="yes").save(commit=False).is_active is True
    assert wire_form(is_active="no").save(commit=False).is_active is False
    assert list(wire_form(is_active="perhaps").errors) == ["is_active"]


def test_choice_names_what_it_takes():
    assert wire_form(conductor_kind="flat").errors["conductor_kind"] == ["“flat” is none of: stranded, fine stranded, solid."]


def test_new_item_offers_its_defaults():
    form = KINDS["wires"].form()
    assert form["is_active"].value() is True


def terminal_form(**changed):
    return KINDS["terminals"].form({
        "part_number": "T-9", "kind": "pin", "barrel": "open", "form": "strip on reel", "csa_min_mm2": "AWG 22", "csa_max_mm2": "0.75",
        "wires_max": "1", "has_support": "yes", "od_min_mm": "1.2", "od_max_mm": "2.0",
    } | changed)  # fmt: skip


def test_terminal_range_by_gauge_and_by_area():
    form = terminal_form()
    assert form.is_valid(), form.errors
    assert (form.instance.csa_min_mm2, form.instance.csa_max_mm2) == (D("0.3255"), D("0.75"))


def test_whole_number_in_an_area_column_is_mm2():
    form = terminal_form(csa_max_mm2="2")
    assert form.is_valid()
    assert form.instance.csa_max_mm2 == 2


def test_terminal_limits_in_order():
    errors = terminal_form(csa_max_mm2="0.1").errors.as_data()["__all__"]
    assert [error.code for error in errors] == ["data.limits.order"]


def spec_form(catalogue, instance=None, **changed):
    return KINDS["specifications"].form({
        "number": "CS-9", "revision": "A", "terminal": "T-250-F", "document": "AS-250 rev B", "csa_min_mm2": "0.5", "csa_max_mm2": "1.5",
        "effective_on": str(days(0)),
    } | changed, instance=instance)  # fmt: skip


def test_crimp_height_with_limits_fills_three_fields(catalogue):
    form = spec_form(catalogue, crimp_height="1.40 +0.05 -0.03", pull_force_min_n="20 lbf")
    assert form.is_valid(), form.errors
    spec = form.instance
    assert (spec.crimp_height_min_mm, spec.crimp_height_nominal_mm, spec.crimp_height_max_mm) == (D("1.37"), D("1.40"), D("1.45"))
    assert spec.pull_force_min_n == D("88.96")


def test_crimp_height_written_twice_and_differently(catalogue):
    form = spec_form(catalogue, crimp_height="1.40 ±0.05", crimp_height_max_mm="1.50")
    assert list(form.errors) == ["crimp_height_max_mm"]


def test_crimp_height_with_limits_overwrites_what_stood_before(catalogue):
    kind, spec = KINDS["specifications"], catalogue.specification
    form = kind.form(kind.stated(spec) | {"crimp_height": "1.50 ±0.04"}, instance=spec)
    assert form.is_valid(), form.errors
    assert (spec.crimp_height_min_mm, spec.crimp_height_max_mm) == (D("1.46"), D("1.54"))


def test_document_named_without_its_revision(catalogue):
    error = spec_form(catalogue, document="AS-250").errors.as_data()["document"][0]
    assert (error.code, error.params["name"]) == ("data.unknown", "AS-250")


@pytest.mark.parametrize("slug", KINDS)
def test_what_is_stated_reads_back_the_same(slug, cast, catalogue):
    kind = KINDS[slug]
    make_press("PR-01")
    items = list(kind.items(days(0)))
    assert items
    for item in items:
        before = kind.recorded(item)
        form = kind.form(kind.stated(item), instance=item)
        assert form.is_valid(), form.errors
        assert kind.recorded(form.instance) == before
