"""The table of verdicts against the one-by-one rules: every cell, whatever is missing in the catalogue."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.finding import Verdict
from shop.fit import SpecificationFacts, TerminalFacts, ToolRowFacts, WireFacts, termination_findings
from shop.fit_matrix import FITS, MISFIT, OPEN, VERDICTS, ToolAxis, column, terminals_by_tools, wires_by_tools, worst

# Few sizes close together: limits are met exactly as often as they are missed by the last decimal.
sizes = st.sampled_from([Decimal(text) for text in ("0.4999", "0.5", "0.5001", "0.75", "1", "1.0001", "2.5")])
maybe = st.none() | sizes
kinds = st.sampled_from(["stranded", "solid", "fine stranded"])
materials = st.sampled_from(["copper", "aluminium"])
tool_kinds = st.sampled_from(["applicator", "hand tool"])
NAMES = ["T-1", "T-2", "T-3"]
TOOLS = ToolAxis(["A-1", "A-2", "H-1"], ["applicator", "applicator", "hand tool"])

wires = st.builds(
    WireFacts,
    st.just("W"),
    maybe,
    maybe,
    kind=st.none() | kinds,
    material=st.none() | materials,
    dipped_end=st.sampled_from([False, None, True]),
)


@st.composite
def terminals(draw, name):
    return TerminalFacts(
        name,
        draw(maybe),
        draw(maybe),
        wires_max=draw(st.none() | st.integers(1, 3)),
        has_support=draw(st.sampled_from([True, True, False, None])),
        od_min_mm=draw(maybe),
        od_max_mm=draw(maybe),
        accepted_kinds=frozenset(draw(st.sets(kinds))),
        accepted_materials=frozenset(draw(st.sets(materials))),
    )


rows = st.lists(
    st.builds(ToolRowFacts, st.sampled_from([*TOOLS.names, "gone"]), st.sampled_from(NAMES), maybe, maybe, maybe, maybe), max_size=12
)


@st.composite
def specifications(draw):
    low, high = sorted((draw(sizes), draw(sizes)))
    complete = draw(st.booleans())
    return SpecificationFacts(
        "CS", "1", draw(st.sampled_from(NAMES)), low, high, in_force=draw(st.booleans()), document="AS", document_revision="B",
        document_in_force=draw(st.booleans()), tool_kind=draw(st.none() | tool_kinds), crimp_height_min_mm=low, crimp_height_nominal_mm=low,
        crimp_height_max_mm=low, strip_length_min_mm=low, strip_length_max_mm=low, pull_force_min_n=low if complete else None,
    )  # fmt: skip


def one_by_one(wire, terminal, tool, kind, all_rows, specs):
    own = [row for row in all_rows if row.tool == tool]
    return worst(termination_findings([wire], terminal, rows_of_tool=own, specifications=specs, tool=tool, tool_kind=kind))


@given(st.lists(wires, min_size=1, max_size=4), terminals("T-1"), rows, st.lists(specifications(), max_size=5))
def test_every_cell_of_wires_by_tools_is_what_the_rules_say_one_by_one(listed, terminal, all_rows, specs):
    table = wires_by_tools(listed, terminal, TOOLS, all_rows, specs)
    expected = [
        [one_by_one(wire, terminal, tool, kind, all_rows, specs) for tool, kind in zip(TOOLS.names, TOOLS.kinds, strict=True)]
        for wire in listed
    ]
    assert table.tolist() == expected


@given(wires, st.tuples(*[terminals(name) for name in NAMES]), rows, st.lists(specifications(), max_size=6))
def test_every_cell_of_terminals_by_tools_is_what_the_rules_say_one_by_one(wire, listed, all_rows, specs):
    table = terminals_by_tools(wire, listed, TOOLS, all_rows, specs)
    expected = [
        [one_by_one(wire, terminal, tool, kind, all_rows, specs) for tool, kind in zip(TOOLS.names, TOOLS.kinds, strict=True)]
        for terminal in listed
    ]
    assert table.tolist() == expected


GOOD = WireFacts("W", Decimal("0.75"), Decimal("1.9"))
TAKES = TerminalFacts("T-1", Decimal("0.5"), Decimal(1), od_min_mm=Decimal("1.5"), od_max_mm=Decimal(3))
ROW = ToolRowFacts("A-1", "T-1", Decimal("0.5"), Decimal(1), Decimal("1.5"), Decimal(3))
SPEC = SpecificationFacts(
    "CS", "1", "T-1", Decimal("0.5"), Decimal(1), True, "AS", "B", True, None,
    *[Decimal(1)] * 6,
)  # fmt: skip


def test_a_good_combination_fits_and_its_neighbours_do_not():
    table = wires_by_tools([GOOD], TAKES, TOOLS, [ROW], [SPEC])
    assert table.tolist() == [[FITS, MISFIT, MISFIT]]
    assert terminals_by_tools(GOOD, [TAKES], TOOLS, [ROW], [SPEC]).tolist() == [[FITS, MISFIT, MISFIT]]
    assert wires_by_tools([GOOD], TAKES, TOOLS, [ROW], []).tolist() == [[MISFIT] * 3]


def test_a_wire_without_its_size_needs_data_where_the_tool_lists_the_terminal():
    bare = WireFacts("W", None, Decimal("1.9"))
    assert wires_by_tools([bare], TAKES, TOOLS, [ROW], [SPEC]).tolist() == [[OPEN, MISFIT, MISFIT]]


@pytest.mark.parametrize(
    "table", [wires_by_tools([], TAKES, TOOLS, [ROW], [SPEC]), wires_by_tools([GOOD], TAKES, ToolAxis([], []), [], [])]
)
def test_an_empty_axis_is_an_empty_table(table):
    assert table.size == 0


def test_codes_and_verdicts_belong_together():
    assert [VERDICTS[code] for code in (MISFIT, OPEN, FITS)] == [Verdict.MISFIT, Verdict.UNDECIDABLE, Verdict.FITS]


def test_a_size_the_catalogue_does_not_keep_is_no_size_to_compare():
    assert column([Decimal("0.7540"), None]).size.tolist() == [7540, 0]
    with pytest.raises(ValueError, match="decimals"):
        column([Decimal("0.75401")])


def test_cells_are_compared_exactly_where_floats_would_not():
    tenth = WireFacts("W", Decimal("0.3"), Decimal("0.9"))
    narrow = TerminalFacts("T-1", Decimal("0.3"), Decimal("0.3"), has_support=False)
    row = ToolRowFacts("A-1", "T-1", Decimal("0.3"), Decimal("0.3"))
    spec = SpecificationFacts("CS", "1", "T-1", Decimal("0.3"), Decimal("0.3"), True, "AS", "B", True, None, *[Decimal(1)] * 6)
    assert wires_by_tools([tenth], narrow, TOOLS, [row], [spec])[0, 0] == FITS
    assert np.issubdtype(wires_by_tools([tenth], narrow, TOOLS, [row], [spec]).dtype, np.integer)
