"""Searching: whatever stands on a label finds its thing, and the table keeps step with the shop."""

from __future__ import annotations

import io

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from records.models import SearchEntry
from records.search import exactly, of_kind, overview
from records.search_index import rebuild
from records.search_kinds import BY_MODEL, KINDS, ORDER, kinds_for
from shop.acts.catalogue import save_item
from shop.acts.catalogue_import import import_rows
from shop.catalogue import kind_named
from shop.clock import now
from shop.models import Person, Wire
from tests import factories


def names(text, kind=None, kinds=ORDER):
    """What a question finds: (kind, name), in the order shown."""
    if kind is not None:
        return [hit.name for hit in of_kind(text, KINDS[kind])]
    return [(group.kind.slug, hit.name) for group in overview(text, kinds) for hit in group.hits]


@pytest.mark.parametrize("asked", ["WL-1001", "wl-1001", "wl 1001", "WL1001", "wl-10", "1001", "WL/1001", "  wl-1001 "])
def test_lot_is_found_however_its_number_is_written(catalogue, asked):
    assert "WL-1001" in names(asked, "wire-lots")


def test_zeros_in_front_do_not_count(db):
    factories.make_wire("SH-26-001", "24x0.2", "1.9")

    for asked in ("sh 26 1", "SH-26-001", "26-001", "26001", "sh26001", "SH-26-0"):
        assert names(asked, "wires") == ["SH-26-001"], asked


def test_marks_over_letters_do_not_count(db):
    factories.make_person("u-1", name="Aino Vík")
    factories.make_person("u-2", name="Petra Lund")

    assert names("vik", "people") == names("VÍK", "people") == names("Vi", "people") == ["u-1"]


def test_exact_number_stands_before_its_continuations_and_words_last(db):
    for number in ("A-10", "A-101", "A-1"):
        factories.make_wire(number, "24x0.2", "1.9")
    factories.make_wire("B-7", "24x0.2", "1.9", description="takes the place of A-10")

    assert [(hit.name, hit.how) for hit in of_kind("a-10", KINDS["wires"])] == [
        ("A-10", "number"),
        ("A-101", "beginning"),
        ("B-7", "words"),
    ]


def test_all_words_have_to_be_there(db):
    factories.make_wire("W-1", "24x0.2", "1.9", description="halogen free, blue")
    factories.make_wire("W-2", "24x0.2", "1.9", description="halogen free", colour="red")

    assert names("blue halogen", "wires") == ["W-1"]
    assert names("halogen purple", "wires") == []


def test_kinds_with_the_exact_number_come_first(db):
    factories.make_wire("T-250", "24x0.2", "1.9", description="")
    factories.make_document("T-250-9", "A")

    assert names("T-250") == [("wires", "T-250"), ("documents", "T-250-9 rev A")]


def test_everything_of_the_main_job_is_found(cast, catalogue, shipment):
    job = shipment.lots.get().job.number

    found = {slug for slug, _name in names(job)}

    assert {"job", "sheet", "batch", "lot"} <= found
    assert ("shipment", "SH-1") in names("sh1")
    assert ("shipment", "SH-1") in names("brunnen pumps")
    for slug, number in (("tools", "AP-031"), ("gauges", "mic 1"), ("terminals", "t250f"), ("customers", "Brunnen"), ("people", "Omar")):
        assert slug in {found for found, _name in names(number)}, number


def test_every_hit_opens(signed_in, cast, catalogue, shipment):
    client = signed_in(cast.auditor)
    tried = set()

    for asked in ("SH", "HL", "J-", "AP-031", "MIC", "CS-250", "AS-250", "WL", "TL", "omar", "W-0", "T-250", "brunnen"):
        for group in overview(asked, ORDER):
            for hit in group.hits:
                tried.add(group.kind.slug)
                for url in (hit.url, hit.trace_url):
                    assert not url or client.get(url).status_code == 200, (asked, url)

    assert {"shipment", "lot", "batch", "job", "sheet", "tools", "gauges", "people", "documents", "wire-lots", "customers"} <= tried


def test_changed_thing_is_found_by_what_it_is_called_now(cast, catalogue):
    kind = kind_named("tools")
    values = kind.stated(catalogue.tool) | {"description": "side feed, wide"}

    save_item(kind=kind, values=values, instance=catalogue.tool, by=cast.quality, at=now(), reason="described")

    assert names("wide feed", "tools") == ["AP-031"]


def test_import_is_found(cast, catalogue):
    wires = SearchEntry.objects.filter(kind="wires").count()
    data = b"part_number,size,insulation_od_mm,colour\nW-900,1 mm2,2.1,violet\nW-075-RD,24x0.2,1.9,crimson\n"

    import_rows(kind="wires", file_name="w.csv", data=data, by=cast.planner, at=now())

    assert names("violet", "wires") == ["W-900"]
    assert names("crimson", "wires") == ["W-075-RD"]
    assert SearchEntry.objects.filter(kind="wires").count() == wires + 1


def test_save_of_what_nobody_searches_writes_nothing(batch):
    with CaptureQueriesContext(
        connection,
    ) as queries:
        batch.save(update_fields=["last_count"])

    assert not [one for one in queries if "searchentry" in one["sql"]]


def test_system_is_nobody_to_be_found(db):
    Person.system()

    assert names("system", "people") == []


def test_floor_finds_no_colleagues(cast):
    assert names("omar", kinds=kinds_for(cast.operator)) == []
    assert names("omar", kinds=kinds_for(cast.auditor)) == [("people", "operator")]


def test_badge_means_its_person(cast):
    assert [hit.name for hit in exactly("b-operator", ORDER)] == ["operator"]
    assert exactly("B-oper", ORDER) == []


def test_searching_writes_nothing(catalogue):
    with CaptureQueriesContext(connection) as queries:
        overview("ap 31", ORDER)
        of_kind("w", KINDS["wires"])

    # On PostgreSQL the plan is bound to the index for the time of the question.
    assert {one["sql"].lstrip("( ").partition(" ")[0] for one in queries} <= {
        "SELECT",
        "WITH",
        "SET",
        "BEGIN",
        "COMMIT",
        "SAVEPOINT",
        "RELEASE",
    }


@pytest.mark.parametrize("things", [1, 30])
def test_number_of_questions_does_not_grow(db, things, django_assert_max_num_queries):
    for number in range(things):
        factories.make_wire(f"W-{number}", "24x0.2", "1.9")

    with django_assert_max_num_queries(32):
        assert overview("w", ORDER)


def test_rebuild_mends_what_was_written_past_the_acts(catalogue):
    Wire.objects.filter(pk=catalogue.wire.pk).update(description="mauve")
    SearchEntry.objects.filter(kind="tools").delete()
    SearchEntry.objects.create(kind="wires", subject_id=999999, name="ghost", compact="ghost", spelled="ghost", words="ghost")
    assert names("mauve", "wires") == []

    out = io.StringIO()
    call_command("rebuild_search", stdout=out)

    assert names("mauve", "wires") == ["W-075-RD"]
    assert names("ap 31", "tools") == ["AP-031"]
    assert names("ghost", "wires") == []
    assert "tools" in out.getvalue()


def test_rebuilt_table_is_the_one_that_was_kept(cast, catalogue, shipment):
    def rows():
        return list(SearchEntry.objects.order_by("kind", "subject_id").values("kind", "subject_id", "name", "note", "compact", "words"))

    kept = rows()
    rebuild()

    assert rows() == kept


def test_every_numbered_kind_has_a_place_to_open(db):
    assert len(BY_MODEL) == len(ORDER)
    for kind in ORDER:
        assert kind.reads <= {f.name for f in kind.model._meta.get_fields()}, kind.slug


def test_page_groups_by_kind_and_leads_to_page_trace_and_trail(signed_in, cast, catalogue):
    page = signed_in(cast.auditor).get("/prove/", {"number": "2001"}).content.decode()

    assert "TL-2001" in page
    for url in (
        f"/shop/terminal-lots/{catalogue.terminal_lot.pk}/",
        f"/prove/trace/terminal-lot/{catalogue.terminal_lot.pk}/",
        f"/prove/trail/terminal-lots/{catalogue.terminal_lot.pk}/",
    ):
        assert f'href="{url}"' in page, url


def test_page_of_one_kind_goes_on(signed_in, cast, catalogue):
    for number in range(60):
        factories.make_wire(f"QQ-{number:03d}", "24x0.2", "1.9")
    client = signed_in(cast.planner)

    first = client.get("/prove/", {"number": "qq", "kind": "wires"}).context["page"].answer
    second = client.get("/prove/", {"number": "qq", "kind": "wires", "page": "2"}).context["page"].answer

    assert (len(first.rows), len(second.rows)) == (50, 10)
    assert not {hit.name for hit in first.rows} & {hit.name for hit in second.rows}
    assert "More wires" in client.get("/prove/", {"number": "qq"}).content.decode()


def test_answer_that_is_empty_says_what_was_searched_and_what_to_try(signed_in, cast, catalogue):
    page = signed_in(cast.auditor).get("/prove/", {"number": "zzyzx 77"}).content.decode()

    assert "Nothing is called “zzyzx 77”" in page
    assert "Looked through: shipments, harness lots" in page
    assert "the beginning of the number" in page


def test_exact_number_also_shows_what_the_ledger_has(signed_in, cast, catalogue):
    kind = kind_named("tools")
    values = kind.stated(catalogue.tool) | {"description": "side feed"}
    save_item(kind=kind, values=values, instance=catalogue.tool, by=cast.quality, at=now(), reason="described")

    page = signed_in(cast.auditor).get("/prove/", {"number": "AP-031", "all": ""}).content.decode()

    assert "Ledger entries" in page
    assert "Changed in the catalogue" in page


@pytest.mark.parametrize("asked", ["'", '"', "a' | b & !c:*", "AND OR NOT *", "( ) : < >", "\0", "%_", "ħ" * 300, "é" * 199])
def test_any_question_is_answered(signed_in, cast, catalogue, asked):
    assert signed_in(cast.auditor).get("/prove/", {"number": asked}).status_code == 200
