import pytest
from django.urls import reverse

from tests import factories


@pytest.fixture
def ask(signed_in, cast, catalogue):
    client = signed_in(cast.planner)
    return lambda **query: client.get(reverse("plan:conductors"), query)


def values(lines):
    return {line.label: line.value for line in lines}


def test_any_size_is_shown_in_every_other(ask):
    page = ask(size="AWG 20 (19/32)").context["page"]
    shown = values(page.lines)
    assert shown["Conductor area"] == "0.6162 mm²"
    assert shown["In circular mils"] == "1216.1 cmil"
    assert shown["Gauge as written"] == "AWG 20"
    assert shown["Nearest gauge, as solid wire"] == "AWG 19"
    assert shown["Over the strands, concentric"] == "1.016 mm"


def test_resistance_of_the_material_asked_for_at_its_temperature(ask):
    page = ask(size="19x0.2", material="tinned copper", temperature="70").context["page"]
    (chosen,) = [row for row in page.resistances if row.is_chosen]
    assert (chosen.label, chosen.at_20, chosen.at_t) == ("tinned copper", "31.63", "37.84")
    assert page.factor_note == "To have at 20 °C what was measured at 70 °C, the table of IEC 60228 multiplies by 0.833."


def test_classes_are_those_of_the_nominal_size_nearby(ask):
    page = ask(size="16x0.2", temperature="20").context["page"]
    assert {row.label: row.at_20 for row in page.classes}["class 5 (flexible), plain copper"] == "39"
    assert ask(size="0.62 mm²").context["page"].classes == []


def test_fahrenheit_is_understood_and_nonsense_refused(ask):
    assert ask(size="0.5 mm²", temperature="158 °F").context["page"].temperature == "70"
    for wrong in ({"size": "16"}, {"size": "0.5 mm²", "temperature": "400"}, {"size": "0.5 mm²", "material": "steel-cored"}):
        assert ask(**wrong).status_code == 422


def test_several_wires_by_catalogue_number_and_by_size(ask):
    page = ask(wires="W-075-RD\n24 x 0.2; 1.9").context["page"]
    shown = {line.label: (line.value, line.note) for line in page.barrel}
    assert shown["Area together"][0] == "1.508 mm²"
    assert shown["Circle around the insulation"] == ("3.80 mm", "exact")


def test_circle_of_unlike_wires_is_marked_as_an_estimate(ask):
    factories.make_wire("W-9", "24x0.2", "2.4")
    (circle,) = [line for line in ask(wires="W-9\nW-075-RD\nW-075-RD").context["page"].barrel if line.label.startswith("Circle")]
    assert "an estimate" in circle.note
    (circle,) = [line for line in ask(wires="W-9\n0.5 mm²").context["page"].barrel if line.label.startswith("Circle")]
    assert circle.value == "–"


@pytest.mark.parametrize("wires", ["W-404", "0.5 mm²; -1", "0.5 mm²; soup", "\n".join(["0.5 mm²"] * 21)])
def test_wires_that_are_none_are_refused(ask, wires):
    answer = ask(wires=wires)
    assert (answer.status_code, list(answer.context["page"].form.errors)) == (422, ["wires"])
