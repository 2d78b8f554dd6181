"""Long lists: pages without counting everything, however deep, with search, filters and sort kept in the address."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shop.materials import Wire
from shop.pages import catalogue_list, paging
from shop.pages.paging import LongPaginator
from tests import factories


@pytest.fixture
def wires(db, monkeypatch):
    """Twenty-three wires, of which five are counted, four to a page."""
    monkeypatch.setattr(paging, "COUNTED", 5)
    monkeypatch.setattr(catalogue_list, "PER_PAGE", 4)
    for number in range(23):
        factories.make_wire(f"W-{number:02}", "24x0.2", "1.9", colour="red" if number % 2 else "blue")


def shown(answer):
    return [line.first.text for line in answer.context["page"].lines]


def listing(client, query=""):
    return client.get(reverse("shop:list", args=["wires"]) + query)


def test_pages_of_a_long_list_show_every_row_once(signed_in, cast, wires):
    client, seen, query = signed_in(cast.auditor), [], "?page=1"
    while query:
        answer = listing(client, query)
        seen += shown(answer)
        rows = answer.context["page"].rows
        query = f"?page={rows.next_page_number()}" if rows.has_next() else ""
    assert seen == [f"W-{number:02}" for number in range(23)]


def test_long_list_says_more_than_and_leads_both_ways(signed_in, cast, wires):
    answer = listing(signed_in(cast.auditor), "?q=W-&sort=-part_number&page=4")
    text = answer.content.decode()
    assert answer.context["page"].count == "more than 5 entries"
    assert shown(answer) == ["W-10", "W-09", "W-08", "W-07"]
    assert "13 to 16 of more than 5" in text
    assert 'rel="prev" href="?q=W-&amp;sort=-part_number&amp;page=3"' in text
    assert 'rel="next" href="?q=W-&amp;sort=-part_number&amp;page=5"' in text


def test_short_list_is_counted(signed_in, cast, wires):
    answer = listing(signed_in(cast.auditor), "?q=W-2")
    assert (answer.context["page"].count, shown(answer)) == ("3 entries", ["W-20", "W-21", "W-22"])
    assert listing(signed_in(cast.auditor), "?q=W-21").context["page"].count == "1 entry"
    assert listing(signed_in(cast.auditor), "?q=nothing").context["page"].count == "0 entries"


@pytest.mark.parametrize(("page", "first"), [("6", "W-20"), ("99", "W-20"), ("0", "W-00"), ("-3", "W-00"), ("x", "W-00"), ("", "W-00")])
def test_page_past_an_end_is_the_page_at_that_end(signed_in, cast, wires, page, first):
    assert shown(listing(signed_in(cast.auditor), f"?page={page}"))[0] == first


def test_no_page_counts_or_reads_the_whole_list(signed_in, cast, wires):
    client = signed_in(cast.auditor)
    for query in ("", "?page=5", "?q=W-", "?sort=-colour&page=3"):
        with CaptureQueriesContext(connection) as asked:
            listing(client, query)
        of_wires = [q["sql"] for q in asked.captured_queries if "shop_wire" in q["sql"]]
        assert of_wires
        assert not [sql for sql in of_wires if "COUNT(" in sql]
        assert not [sql for sql in of_wires if "LIMIT" not in sql and '"id" IN (' not in sql]


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(count=st.integers(0, 15), per_page=st.integers(1, 6), counted=st.integers(1, 20), page=st.integers(1, 20))
def test_page_is_the_slice_it_says_it_is(db, count, per_page, counted, page):
    Wire.objects.all().delete()
    for number in range(count):
        factories.make_wire(f"W-{number:02}", "24x0.2", "1.9")
    everything = [f"W-{number:02}" for number in range(count)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(paging, "COUNTED", counted)
        got = LongPaginator(Wire.objects.order_by("part_number", "pk"), per_page).get_page(page)
        names = [wire.part_number for wire in got]
        begin = (got.number - 1) * per_page
        assert names == everything[begin : begin + per_page]
        assert got.has_next() is (begin + per_page < count)
        assert (got.start_index(), got.end_index()) == ((begin + 1, begin + len(names)) if names else (0, 0))
        last = max(1, -(-count // per_page))
        assert got.number == min(page, last)
