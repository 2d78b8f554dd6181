import copy

import pytest
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from shop.acts.sheets import plan_termination, remove_termination, revise_sheet, submit_sheet
from shop.clock import now
from shop.pages.changes import LABELS
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


# --- The pages --------------------------------------------------------------------------------------------------------------------


def at(name, *args):
    return reverse(f"plan:{name}", args=args)


@pytest.fixture
def revised(cast, catalogue):
    """Revision 2, in review: L1 with fewer pieces, L2 removed, L9 added."""
    first = factories.released(cast, catalogue, terminations=2)
    second = revise_sheet(sheet=first, reason="Drawing D", by=cast.planner, at=now())
    one, two = second.terminations.all()
    stated = factories.stated(catalogue, quantity=40)
    plan_termination(sheet=second, stated=stated, by=cast.planner, at=now(), termination=one)
    remove_termination(termination=two, by=cast.planner, at=now())
    plan_termination(sheet=second, stated=factories.stated(catalogue, lead="L9"), by=cast.planner, at=now())
    return submit_sheet(sheet=second, by=cast.planner, at=now())


LINE = "W-075-RD in T-250-F on AP-031 C3 I2, 100 pieces"
SHOWN = [
    ("Lead, end: L1 A", [("Pieces", "100", "40")]),
    ("Lead, end: L9 A", [("added", "", LINE)]),
    ("Lead, end: L2 A", [("removed", LINE, "")]),
]


def shown(groups):
    return [(group.title, [(line.what, line.old, line.new) for line in group.lines]) for group in groups]


def test_changes_page_against_the_revision_before_and_a_named_one(signed_in, cast, revised):
    client = signed_in(cast.auditor)
    page = client.get(at("changes", revised.pk)).context["page"]
    assert (page.old, shown(page.groups)) == (revised.supersedes, SHOWN)
    back = client.get(at("changes", revised.supersedes.pk) + f"?from={revised.pk}").context["page"]
    assert [group.title for group in back.groups] == ["Lead, end: L1 A", "Lead, end: L2 A", "Lead, end: L9 A"]


def test_changes_page_of_a_first_revision_and_against_another_sheet(signed_in, cast, catalogue, revised):
    client = signed_in(cast.planner)
    assert client.get(at("changes", revised.supersedes.pk)).status_code == 404
    other = factories.draft(cast, catalogue)
    assert client.get(at("changes", revised.pk) + f"?from={other.pk}").status_code == 404


def test_release_page_shows_what_changes_against_the_revision_in_force(signed_in, cast, catalogue, revised):
    client = signed_in(cast.approver)
    page = client.get(at("release", revised.pk)).context["page"]
    assert (page.against, shown(page.changes)) == (str(revised.supersedes), SHOWN)
    first = client.get(at("release", factories.in_review(cast, catalogue).pk)).context["page"]
    assert (first.against, first.changes) == ("", [])


def test_every_field_of_a_full_sheet_has_a_label(cast, catalogue):
    full = {
        "bell_mouth_min_mm": "0.2", "bell_mouth_max_mm": "0.5", "brush_min_mm": "0.1", "brush_max_mm": "0.8", "cut_off_tab_max_mm": "0.3",
        "resistance_max_mohm": "2.5", "compaction_min_pct": "70", "compaction_max_pct": "85",
    }  # fmt: skip
    for name, value in full.items():
        setattr(catalogue.specification, name, value)
    catalogue.specification.save()
    sheet = sheet_content(factories.draft(cast, catalogue, cross_sections=1, sample_every_minutes=60, dipped_end=False))
    bare = copy.deepcopy(sheet)
    t = bare["terminations"][0]
    t["targets"], t["plan"], t["tool"], t["specification"], t["circuit"], t["wires"] = {}, {}, None, None, "", []
    bare["job"] = dict.fromkeys(bare["job"], "?")
    fields = {change.field for change in changes(bare, sheet)}
    assert len(fields) > 25
    assert fields - LABELS.keys() == set()


def test_sheet_page_shows_set_ups_and_arranges_them(signed_in, cast, catalogue):
    factories.make_specification("CS-M5", catalogue.ring, catalogue.document, ("1.0", "2.5"))
    sheet = factories.draft(cast, catalogue, terminations=1)
    ring = {"terminal": catalogue.ring, "wires": [catalogue.wire_large], "tool": catalogue.tool_ring}
    for lead, changed in (("L2", ring), ("L3", {})):
        plan_termination(sheet=sheet, stated=factories.stated(catalogue, lead=lead, **changed), by=cast.planner, at=now())
    client = signed_in(cast.planner)
    page = client.get(at("sheet", sheet.pk)).context["page"]
    assert [(s.number, s.tool, s.setting, s.leads, s.pieces) for s in page.set_ups] == [
        (1, "AP-031", "C3 I2", "L1/A, L3/A", 200),
        (2, "HT-007", "cavity 2", "L2/A", 100),
    ]
    assert page.may_arrange
    client.post(at("arrange", sheet.pk))
    page = client.get(at("sheet", sheet.pk)).context["page"]
    assert ([row.lead for row in page.rows], page.may_arrange) == (["L1", "L3", "L2"], False)


def test_copy_and_comment_on_their_pages(signed_in, cast, catalogue):
    sheet = factories.in_review(cast, catalogue)
    job = factories.make_job(catalogue.customer, cast.planner, quantity=7)
    client = signed_in(cast.planner)
    assert at("copy-sheet", sheet.pk) in client.get(at("sheet", sheet.pk)).content.decode()
    assert client.post(at("copy-sheet", sheet.pk), {"job": "J-0"}).status_code == 422
    client.post(at("copy-sheet", sheet.pk), {"job": job.number})
    assert [t.quantity for t in job.sheets.get().terminations.all()] == [7]

    assert client.post(at("comment", sheet.pk), {"text": ""}).status_code == 422
    client.post(at("comment", sheet.pk), {"text": "Twist leads 4 and 5."})
    page = client.get(at("sheet", sheet.pk))
    assert [comment.text for comment in page.context["page"].comments] == ["Twist leads 4 and 5."]
    reader = signed_in(cast.auditor)
    assert not reader.get(at("sheet", sheet.pk)).context["page"].may_comment
    assert reader.post(at("copy-sheet", sheet.pk), {"job": job.number}).status_code == 422
    assert job.sheets.count() == 1
