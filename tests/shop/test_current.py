"""The advice on a current: what Ohm and Joule say of it, and what the catalogue's sources state."""

from decimal import Decimal

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from shop.conductor import parse_size
from shop.current import Carrier, current_advice, standing_of, wire_current
from shop.forms.materials import TerminalForm, WireForm
from tests import factories
from tests.shop.test_plan_pages import TYPED

WIRE = Carrier("W-1")
currents = st.decimals(Decimal("0.001"), Decimal(10_000), places=3)


def of(current, size="1 mm2", material="copper", temperature=20, rating=None):
    return wire_current(Decimal(current), parse_size(size), material, Carrier("W-1", rating), Decimal(temperature))


def test_drop_and_heat_follow_from_ohm_and_joule():
    # 0.017241 ohm mm²/m (IEC 60028) and 2 % for the lay (ASTM B496): 17.586 mohm/m for 1 mm², worked out by hand.
    wire = of(10)
    assert (wire.density_a_mm2, wire.drop_mv_m, wire.heat_w_m) == (Decimal("10.0"), Decimal(176), Decimal("1.76"))


def test_hot_wire_drops_more():
    # 1 + 0.00393 (105 - 20) = 1.33405
    assert of(10, temperature=105).drop_mv_m == Decimal(235)


@given(currents)
def test_heat_is_current_times_drop_within_the_figures_shown(current):
    wire = of(current, size="0.5 mm2")
    assert float(wire.heat_w_m) == pytest.approx(float(current) * float(wire.drop_mv_m) / 1000, rel=0.02)


def test_material_without_a_figure_has_density_only():
    wire = of(5, material="steel-cored")
    assert (wire.density_a_mm2, wire.drop_mv_m, wire.heat_w_m) == (Decimal("5.00"), None, None)


@pytest.mark.parametrize(("asked", "rating", "standing"), [("10", "10", "within"), ("10.001", "10", "above"), ("1", None, "not stated")])
def test_current_is_compared_only_with_a_rating_on_record(asked, rating, standing):
    assert standing_of(Decimal(asked), None if rating is None else Decimal(rating)) == standing


def test_worst_part_speaks_for_all():
    wires = [of(5, rating=Decimal(6)), of(5, rating=Decimal(4))]
    assert current_advice(Decimal(5), wires, Carrier("T-1", Decimal(9))).standing == "above"
    assert current_advice(Decimal(5), wires[:1], Carrier("T-1")).standing == "not stated"
    assert current_advice(Decimal(5), wires[:1], Carrier("T-1", Decimal(5))).standing == "within"


@pytest.mark.parametrize("current", ["0", "-1", "NaN", "Infinity"])
def test_no_current_is_no_question(current):
    with pytest.raises(ValueError, match="finite and positive"):
        of(current)


@pytest.mark.parametrize("form", [WireForm, TerminalForm])
def test_rating_without_its_source_is_refused(db, form):
    given_form = form({"current_rating_a": "7.5", "current_source": " "})
    assert "current_source" in given_form.errors
    assert "current_source" not in form({"current_rating_a": "7.5", "current_source": "shop rule 12, free in air"}).errors


@pytest.fixture
def rated(catalogue):
    catalogue.wire.current_rating_a, catalogue.wire.current_source = Decimal(6), "shop rule 12"
    catalogue.wire.save()
    return catalogue


def test_planner_sees_the_advice_beside_the_fit_and_is_not_refused(signed_in, cast, rated):
    sheet = factories.draft(cast, rated, terminations=0)
    client, address = signed_in(cast.planner), reverse("plan:new-termination", args=[sheet.pk])
    typed = TYPED | {"required_current_a": "7.5"}
    page = client.post(address, typed | {"check": "1"})
    lines = page.context["page"].fit.advice.lines
    assert [(line.part, line.word) for line in lines] == [("W-075-RD", "above the 6 A on record"), ("T-250-F", "no rating on record")]
    assert "a licensed person decide" in page.content.decode()
    assert page.context["page"].fit.outcome == "fits"
    assert client.post(address, typed).status_code == 302
    assert sheet.terminations.get().required_current_a == Decimal("7.5")


def test_without_a_current_there_is_no_advice(signed_in, cast, rated):
    sheet = factories.draft(cast, rated, terminations=0)
    page = signed_in(cast.planner).post(reverse("plan:new-termination", args=[sheet.pk]), TYPED | {"check": "1"})
    assert page.context["page"].fit.advice is None


@pytest.mark.parametrize("text", ["0", "-2", "7 V", "much"])
def test_current_that_is_none_is_refused(signed_in, cast, rated, text):
    sheet = factories.draft(cast, rated, terminations=0)
    page = signed_in(cast.planner).post(reverse("plan:new-termination", args=[sheet.pk]), TYPED | {"required_current_a": text})
    assert page.status_code == 422
    assert "required_current_a" in page.context["page"].form.errors
