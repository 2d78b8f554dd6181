"""The qualification matrix: the same answer as at the press, the day it ends, and who has to be trained again."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.people import Process, Qualification, Role, ToolKind
from shop.qualification_matrix import COLUMNS, Column, cell_of
from shop.use import QualificationFacts, person_use
from tests.factories import days, make_person, make_qualification

DAY = date(2026, 3, 2)
CRIMP = Column("crimp", "applicator")

near = st.integers(-120, 120).map(lambda n: DAY + timedelta(days=n))
held = st.builds(
    Qualification,
    process=st.sampled_from(Process.values),
    tool_kind=st.sampled_from(["", *ToolKind.values]),
    granted_on=near,
    expires_on=st.none() | near,
    withdrawn_on=st.none() | near,
)


def q(**fields):
    given = {"pk": 1, "process": "crimp", "tool_kind": "", "granted_on": DAY - timedelta(days=100)}
    return Qualification(**(given | fields))


@given(st.lists(held, max_size=4))
def test_cell_answers_as_the_press_does(qualifications):
    for number, one in enumerate(qualifications):
        one.pk = number + 1
    facts = [QualificationFacts(x.process, x.tool_kind or None, x.granted_on, x.expires_on, x.withdrawn_on) for x in qualifications]
    for column in COLUMNS:
        (finding,) = person_use(facts, column.process, column.tool_kind or None, DAY)
        cell = cell_of(qualifications, column, DAY)
        assert cell.is_current == (not finding.blocks)


@given(st.lists(held, min_size=1, max_size=4))
def test_day_of_a_current_cell_is_its_last_good_one(qualifications):
    for number, one in enumerate(qualifications):
        one.pk = number + 1
    cell = cell_of(qualifications, CRIMP, DAY)
    if cell.is_current and cell.day is not None:
        lasting = [x for x in qualifications if x.pk == cell.qualification]
        assert cell_of(lasting, CRIMP, cell.day).is_current
        assert not cell_of(lasting, CRIMP, cell.day + timedelta(days=1)).is_current


@pytest.mark.parametrize(
    ("ahead", "state", "window"),
    [(0, "running out", 30), (30, "running out", 30), (31, "running out", 60), (90, "running out", 90), (91, "current", 0)],
)
def test_windows_of_what_runs_out(ahead, state, window):
    cell = cell_of([q(expires_on=DAY + timedelta(days=ahead))], CRIMP, DAY)
    assert (cell.state, cell.window, cell.day) == (state, window, DAY + timedelta(days=ahead))


@pytest.mark.parametrize(
    ("fields", "state", "day"),
    [
        ({}, "current", None),
        ({"expires_on": DAY - timedelta(days=1)}, "expired", DAY - timedelta(days=1)),
        ({"withdrawn_on": DAY}, "withdrawn", DAY),
        ({"granted_on": DAY + timedelta(days=5)}, "later", DAY + timedelta(days=5)),
        ({"tool_kind": "hand tool"}, "none", None),
        ({"process": "strip"}, "none", None),
    ],
)
def test_states_of_a_cell(fields, state, day):
    cell = cell_of([q(**fields)], CRIMP, DAY)
    assert (cell.state, cell.day) == (state, day)


# --- Page ------------------------------------------------------------------------------------------------------------------------


def names(answer):
    return [row.name for row in answer.context["page"].rows]


@pytest.fixture
def trained(cast):
    """Berit runs out in 45 days, Carl ran out, Dora was never trained."""
    berit, carl = make_person("berit", Role.OPERATOR, name="Berit Moe"), make_person("carl", Role.OPERATOR, name="Carl Ek")
    make_person("dora", Role.OPERATOR, name="Dora Lie")
    make_person("gone", Role.OPERATOR, name="Gone Away", is_active=False)
    make_qualification(berit, "crimp", expires_on=days(45), tool_kind="applicator")
    make_qualification(carl, "crimp", expires_on=days(-1))


def test_matrix_shows_each_cell_with_word_and_day(signed_in, cast, trained):
    page = signed_in(cast.auditor).get("/shop/people/matrix/?process=crimp").context["page"]
    assert [(head.process, head.tool_kind) for head in page.heads] == [
        ("crimp", "applicator"),
        ("crimp", "die set"),
        ("crimp", "hand tool"),
        ("crimp", "powered hand tool"),
    ]
    rows = {row.name: [(cell.word, cell.day) for cell in row.cells] for row in page.rows}
    assert rows["Berit Moe"] == [("within 60 days", str(days(45))), ("none", ""), ("none", ""), ("none", "")]
    assert rows["Carl Ek"] == [("expired", str(days(-1)))] * 4
    assert rows["Omar Reyes"] == [("current", str(days(165)))] * 4
    assert "Gone Away" not in rows


@pytest.mark.parametrize(
    ("query", "shown"),
    [
        ("show=30", []),
        ("show=60", ["Berit Moe"]),
        ("show=90&role=operator", ["Berit Moe"]),
        ("show=90&role=inspector", []),
        ("show=ended", ["Carl Ek"]),
        ("show=none&process=pull+test&role=operator", ["Berit Moe", "Carl Ek", "Dora Lie"]),
        ("q=dora", ["Dora Lie"]),
        ("role=operator&show=x&process=x", ["Berit Moe", "Carl Ek", "Dora Lie", "Omar Reyes"]),
    ],
)
def test_matrix_is_narrowed_by_its_address(signed_in, cast, trained, query, shown):
    assert names(signed_in(cast.auditor).get(f"/shop/people/matrix/?{query}")) == shown


def test_cell_leads_to_the_evidence_or_to_where_it_is_granted(signed_in, cast, trained):
    path = "/shop/people/matrix/?q=berit&process=crimp"
    mine = Qualification.objects.get(person__username="berit")
    first, second, *_rest = signed_in(cast.quality).get(path).context["page"].rows[0].cells
    assert first.url == f"/shop/qualifications/{mine.pk}/"
    assert second.url == "/shop/qualifications/new/?person=berit&process=crimp&tool_kind=die+set"
    assert signed_in(cast.quality).get(second.url).context["page"].form["tool_kind"].value() == "die set"
    assert signed_in(cast.operator).get(path).context["page"].rows[0].cells[1].url == ""


def test_matrix_file_holds_what_the_page_shows(signed_in, cast, trained):
    answer = signed_in(cast.auditor).get("/shop/people/matrix/matrix.csv?show=ended&process=crimp")
    assert answer.content.decode("utf-8-sig").splitlines() == [
        "person,roles,crimp applicator,crimp die set,crimp hand tool,crimp powered hand tool",
        "Carl Ek,operator," + ",".join([f"expired {days(-1)}"] * 4),
    ]


@pytest.mark.parametrize("people", [1, 3])
def test_matrix_queries(signed_in, cast, django_assert_num_queries, people):
    for number in range(people):
        make_qualification(make_person(f"x{number}", Role.OPERATOR), "crimp")
    client = signed_in(cast.auditor)
    client.get("/shop/people/matrix/")
    with django_assert_num_queries(6):
        assert len(names(client.get("/shop/people/matrix/"))) == 7 + people


def test_matrix_is_linked_from_the_people(signed_in, cast):
    for page in ("/shop/", "/shop/people/", "/shop/qualifications/"):
        assert b'href="/shop/people/matrix/"' in signed_in(cast.auditor).get(page).content
