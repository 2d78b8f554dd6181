import copy

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.set_ups import SetUpKey, arranged, key_of, set_ups
from shop.sheet_changes import changes
from shop.sheet_content import sheet_content
from tests import factories


def said(old, new):
    return [(c.kind, c.termination, c.field, c.old, c.new) for c in changes(old, new)]


@pytest.fixture
def content(cast, catalogue):
    return sheet_content(factories.draft(cast, catalogue, terminations=3))


# --- What differs -----------------------------------------------------------------------------------------------------------------


def test_sheet_compared_with_itself(content):
    assert said(content, content) == []


def test_another_author_reason_or_revision_is_no_change(content):
    assert said(content, content | {"revision": 2, "author": "Aino Vik", "change_reason": "Drawing D"}) == []


def test_changed_values_are_said_with_their_units(content):
    new = copy.deepcopy(content)
    t = new["terminations"][1]
    t["targets"]["crimp_height_mm"] = {"low": "1.33", "high": "1.43", "nominal": "1.38"}
    t["quantity"], t["wire_length_mm"], t["plan"]["inspector_signs"] = 40, "", True
    assert said(content, new) == [
        ("changed", "L2 A", "quantity", "100", "40"),
        ("changed", "L2 A", "targets.crimp_height_mm", "1.40 (1.35 to 1.45) mm", "1.38 (1.33 to 1.43) mm"),
        ("changed", "L2 A", "plan.inspector_signs", "no", "yes"),
        ("changed", "L2 A", "wire_length_mm", "450 mm", ""),
    ]


def test_added_and_removed_terminations_are_said_in_a_line(content):
    new = copy.deepcopy(content)
    new["terminations"][0]["lead"] = "L9"
    line = "W-075-RD in T-250-F on AP-031 C3 I2, 100 pieces"
    assert said(content, new) == [("added", "L9 A", "", "", line), ("removed", "L1 A", "", line, "")]


def test_removed_neighbour_moves_nobody(content):
    new = copy.deepcopy(content)
    del new["terminations"][0]
    for position, t in enumerate(new["terminations"], start=1):
        t["position"] = position
    assert [(c.kind, c.termination) for c in changes(content, new)] == [("removed", "L1 A")]


def test_moved_termination_is_the_only_one_that_moved(content):
    new = copy.deepcopy(content)
    new["terminations"] = [new["terminations"][i] | {"position": n} for n, i in enumerate((2, 0, 1), start=1)]
    assert said(content, new) == [("changed", "L3 A", "position", "3", "1")]


def test_drawing_revision_of_the_job(content):
    new = content | {"job": content["job"] | {"drawing_revision": "D"}}
    assert said(content, new) == [("changed", "", "job.drawing_revision", "C", "D")]


@given(st.data())
def test_differences_there_and_back_mirror_each_other(data):
    def sheet():
        leads = data.draw(st.lists(st.tuples(st.sampled_from("1234"), st.sampled_from("AB"), st.integers(1, 3)), max_size=6))
        terminations = [
            {
                "position": i, "lead": lead, "end": end, "quantity": pieces, "wires": [], "tool": None, "specification": None,
                "terminal": {"part_number": "T", "description": "", "barrel": "open", "has_support": True}, "targets": {}, "plan": {},
            }
            for i, (lead, end, pieces) in enumerate(leads, start=1)
        ]  # fmt: skip
        return {"job": {}, "terminations": terminations}

    old, new = sheet(), sheet()
    turned = {"added": "removed", "removed": "added", "changed": "changed"}
    there = {(turned[c.kind], c.termination, c.field, c.new, c.old) for c in changes(old, new) if c.field != "position"}
    assert there == {(c.kind, c.termination, c.field, c.old, c.new) for c in changes(new, old) if c.field != "position"}
    assert changes(old, old) == []


# --- Set-ups ----------------------------------------------------------------------------------------------------------------------


def key(tool, setting="C1", terminal="T1", wire="W1"):
    return SetUpKey(tool, setting, "", terminal, (wire,), "CS-1 rev 1")


def test_terminations_with_one_set_up_are_together():
    keys = [key("AP-1"), key("AP-2"), None, key("AP-1"), key("AP-1", wire="W2"), key("AP-2")]
    assert [(s.number, s.key.tool, s.key.wires, s.members) for s in set_ups(keys)] == [
        (1, "AP-1", ("W1",), (0, 3)),
        (2, "AP-1", ("W2",), (4,)),
        (3, "AP-2", ("W1",), (1, 5)),
    ]
    assert arranged(keys) == [0, 3, 4, 1, 5, 2]


keys_drawn = st.lists(
    st.one_of(st.none(), st.builds(key, st.sampled_from("123"), st.sampled_from("ab"), st.sampled_from("xy"), st.sampled_from("pq"))),
    max_size=20,
)


@given(keys_drawn)
def test_arranging_keeps_everybody_and_changes_nothing_a_second_time(keys):
    order = arranged(keys)
    assert sorted(order) == list(range(len(keys)))
    again = [keys[i] for i in order]
    assert arranged(again) == list(range(len(keys)))


@given(keys_drawn)
def test_arranging_sets_each_tool_and_each_set_up_once(keys):
    order = [keys[i] for i in arranged(keys) if keys[i] is not None]
    runs = [one for i, one in enumerate(order) if i == 0 or order[i - 1] != one]
    assert len(runs) == len(set(order))
    tools = [one.tool for i, one in enumerate(order) if i == 0 or order[i - 1].tool != one.tool]
    assert len(tools) == len(set(tools))


def test_key_needs_a_tool(content):
    t = content["terminations"][0]
    assert key_of(t) == SetUpKey("AP-031", "C3 I2", "", "T-250-F", ("W-075-RD",), "CS-250 rev 1")
    assert key_of(t | {"tool": None}) is None
