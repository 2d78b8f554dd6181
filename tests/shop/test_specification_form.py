"""The form of a crimp specification: limits in one go for every characteristic, and a pull force proposed, never silently taken."""

from decimal import Decimal

import pytest

from shop.forms.specifications import SpecificationForm
from shop.pull_force import CHECKED, minimum_pull_force, row_of_source, rows_of, source_of, standards
from shop.specifications import CrimpSpecification
from tests.factories import days

LIMITED = ("crimp_height", "crimp_width", "insulation_height", "strip_length", "bell_mouth", "brush")


@pytest.fixture
def stated(catalogue):
    return {
        "number": "CS-300",
        "revision": "1",
        "terminal": "T-250-F",
        "document": "AS-250 rev B",
        "csa_min_mm2": "0.5",
        "csa_max_mm2": "1.5",
        "effective_on": str(days(0)),
    }


def memorised():
    """A row of a standard that we know from memory only."""
    return next(row for standard in standards() for row in rows_of(standard.code) if row.status == "from memory")


def confirmed():
    return next(row for standard in standards() for row in rows_of(standard.code) if row.is_confirmed)


@pytest.mark.parametrize("stem", LIMITED)
@pytest.mark.parametrize(
    ("text", "limits"),
    [("1.40 ±0.05", "1.35 1.40 1.45"), ("1.40 +0.05 -0.03", "1.37 1.40 1.45"), ("1.35..1.45", "1.35 None 1.45")],
)
def test_limits_are_written_in_one_go(stated, stem, text, limits):
    form = SpecificationForm(stated | {stem: text})
    assert form.is_valid(), form.errors
    low, nominal, high = (None if word == "None" else Decimal(word) for word in limits.split())
    made = form.instance
    assert (getattr(made, f"{stem}_min_mm"), getattr(made, f"{stem}_max_mm")) == (low, high)
    if stem not in ("bell_mouth", "brush"):
        assert getattr(made, f"{stem}_nominal_mm") == nominal


@pytest.mark.parametrize("stem", LIMITED)
def test_limits_that_are_none_are_refused_at_their_field(stated, stem):
    assert list(SpecificationForm(stated | {stem: "about 1.4"}).errors) == [stem]


@pytest.mark.parametrize("stem", LIMITED)
def test_two_different_figures_are_refused(stated, stem):
    assert list(SpecificationForm(stated | {stem: "1.40 ±0.05", f"{stem}_max_mm": "1.50"}).errors) == [f"{stem}_max_mm"]
    assert SpecificationForm(stated | {stem: "1.40 ±0.05", f"{stem}_max_mm": "1.45"}).is_valid()


def test_further_limits_are_kept(stated):
    further = {"cut_off_tab_max_mm": "0.25", "resistance_max_mohm": "1.5", "compaction_min_pct": "80", "compaction_max_pct": "90"}
    form = SpecificationForm(stated | further)
    assert form.is_valid(), form.errors
    assert {name: getattr(form.instance, name) for name in further} == {name: Decimal(value) for name, value in further.items()}


def test_compaction_out_of_order_is_refused(signed_in, cast, stated):
    answer = signed_in(cast.planner).post("/shop/specifications/new/", stated | {"compaction_min_pct": "90", "compaction_max_pct": "80"})
    assert answer.status_code == 422
    assert not CrimpSpecification.objects.filter(number="CS-300").exists()


# --- Pull force ------------------------------------------------------------------------------------------------------------------


def test_source_of_every_row_fits_its_column_and_leads_back_to_its_figure():
    longest = CrimpSpecification._meta.get_field("pull_force_source").max_length
    for standard in standards():
        for row in rows_of(standard.code):
            source = f"{source_of(row)}; {CHECKED}"
            assert len(source) <= longest
            found = row_of_source(source)
            size = {"awg": row.size} if standard.size_system == "AWG" else {"csa_mm2": row.csa_mm2}
            assert found == minimum_pull_force(standard.code, **size)


def test_figure_from_memory_asks_for_a_look_at_the_standard(stated):
    row = memorised()
    proposal = stated | {"pull_force_min_n": str(row.force_n), "pull_force_source": source_of(row)}
    refused = SpecificationForm(proposal)
    assert list(refused.errors) == ["pull_force_checked"]
    assert "from memory" in refused.errors["pull_force_checked"][0]
    form = SpecificationForm(proposal | {"pull_force_checked": "on"})
    assert form.is_valid(), form.errors
    assert form.instance.pull_force_source == f"{source_of(row)}; {CHECKED}"


def test_figure_once_checked_is_not_asked_for_again(stated):
    row = memorised()
    source = f"{source_of(row)}; {CHECKED}"
    form = SpecificationForm(stated | {"pull_force_min_n": str(row.force_n), "pull_force_source": source})
    assert form.is_valid(), form.errors
    assert form.instance.pull_force_source == source


def test_confirmed_figure_needs_no_tick(stated):
    row = confirmed()
    form = SpecificationForm(stated | {"pull_force_min_n": str(row.force_n), "pull_force_source": source_of(row)})
    assert form.is_valid(), form.errors


def test_another_figure_does_not_go_under_the_name_of_a_standard(stated):
    row = confirmed()
    form = SpecificationForm(stated | {"pull_force_min_n": str(row.force_n - 1), "pull_force_source": source_of(row)})
    assert list(form.errors) == ["pull_force_min_n"]


def test_propose_fills_the_form_and_saves_nothing(signed_in, cast, stated):
    row = memorised()
    asked = stated | {"pull_force_standard": row.standard.code, "pull_force_size": row.named_size, "propose": "1", "crimp_width": "2 ±0.1"}
    answer = signed_in(cast.planner).post("/shop/specifications/new/", asked)
    form = answer.context["page"].form
    assert answer.status_code == 200
    assert form["pull_force_min_n"].value() in (str(row.force_n), str(row.force_n.normalize()))
    assert form["pull_force_source"].value() == source_of(row)
    assert (form["number"].value(), form["crimp_width"].value()) == ("CS-300", "2 ±0.1")
    told = " ".join(str(message) for message in answer.context["messages"])
    assert row.table in told
    assert "from memory" in told
    assert not CrimpSpecification.objects.filter(number="CS-300").exists()


def test_propose_on_an_item_keeps_what_was_typed_and_the_race_guard(signed_in, cast, catalogue):
    client, page = signed_in(cast.planner), f"/shop/specifications/{catalogue.specification.pk}/edit/"
    before = client.get(page).context["page"]
    row = confirmed()
    stated = {name: before.form[name].value() or "" for name in before.form.fields} | {"seen": "as it was", "tool_kind": "applicator"}
    stated |= {"document": "AS-250 rev B", "terminal": "T-250-F"}
    asked = stated | {"pull_force_standard": row.standard.code, "pull_force_size": row.named_size, "propose": "1"}
    after = client.post(page, asked).context["page"]
    assert (after.seen, after.form["tool_kind"].value(), after.form["pull_force_source"].value()) == (
        "as it was",
        "applicator",
        source_of(row),
    )
    catalogue.specification.refresh_from_db()
    assert catalogue.specification.pull_force_min_n == 85


@pytest.mark.parametrize(
    ("standard", "size", "said"),
    [("", "AWG 20", "Choose a standard"), ("iec-60352-2", "0.77 mm²", "Nothing is interpolated"), ("iec-60352-2", "20", "20")],
)
def test_propose_says_what_it_cannot_find(signed_in, cast, stated, standard, size, said):
    asked = stated | {"pull_force_standard": standard, "pull_force_size": size, "propose": "1"}
    answer = signed_in(cast.planner).post("/shop/specifications/new/", asked)
    assert said in " ".join(str(message) for message in answer.context["messages"])
    assert not answer.context["page"].form["pull_force_min_n"].value()


def test_propose_takes_the_role_that_may_change_it(signed_in, cast, stated):
    answer = signed_in(cast.operator).post("/shop/specifications/new/", stated | {"propose": "1"})
    assert answer.status_code in (403, 422)
    assert b"person.role" in answer.content or b"no role" in answer.content
