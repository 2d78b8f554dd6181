"""Who looked at what: each opening of a record is noted once in a while, with whoever looked, and nothing else is."""

from __future__ import annotations

import csv
import io
from datetime import timedelta

import pytest
from django.db import DatabaseError
from django.urls import reverse

from records.models import LedgerEntry
from shop.api.authentication import token_for
from shop.clock import now
from shop.desk_looks import Look
from shop.looks import LOOKED_AT, SAME_FOR
from tests import factories


def noted():
    """(user name, kind, name, in which way, through), oldest first."""
    return list(Look.objects.order_by("pk").values_list("person__username", "kind", "name", "what", "door"))


def test_opened_records_are_noted_with_person_and_way(signed_in, cast, shipment, batch, catalogue):
    client = signed_in(cast.auditor)
    tool = catalogue.tool.pk

    for url in (
        "/prove/shipment/SH-1/",
        f"/prove/batch/{batch.number}/",
        f"/shop/tools/{tool}/",
        f"/prove/trace/tool/{tool}/",
        "/prove/where/tool/AP-031/",
        f"/prove/trail/tools/{tool}/",
        "/shop/tools/export.csv",
    ):
        assert client.get(url).status_code in (200, 404), url

    assert [look for look in noted() if look[3] != "audit trail"] == [
        ("auditor", "shipment", "SH-1", "record", "page"),
        ("auditor", "batch", batch.number, "record", "page"),
        ("auditor", "tools", "AP-031", "record", "page"),
        ("auditor", "tools", "AP-031", "trace", "page"),
        ("auditor", "list", "Tools", "export", "page"),
    ]


def test_api_is_another_door(client, cast, shipment):
    client.get("/api/v1/shipments/SH-1/", headers={"Authorization": f"Token {token_for(cast.auditor)}"})

    assert noted() == [("auditor", "shipment", "SH-1", "record", "API")]


def test_same_page_soon_again_is_one_look_and_later_another(signed_in, cast, shipment):
    client = signed_in(cast.auditor)
    for _ in range(3):
        client.get("/prove/shipment/SH-1/")
    first = Look.objects.get()

    # Time cannot be turned back on rows that never change: an older look is written, and the page opened anew.
    other = factories.make_person("u-9")
    Look.objects.create(
        person=other,
        at=now() - SAME_FOR - timedelta(seconds=1),
        kind="shipment",
        subject_id=shipment.pk,
        name="SH-1",
        what="record",
        door="page",
    )
    client.force_login(other)
    client.get("/prove/shipment/SH-1/")

    assert Look.objects.filter(person=cast.auditor).get() == first
    assert Look.objects.filter(person=other).count() == 2


def test_lists_forms_refusals_and_what_is_not_there_are_not_noted(signed_in, cast, catalogue):
    client = signed_in(cast.operator)

    for url in ("/prove/", "/prove/?number=zz", "/shop/tools/", "/plan/jobs/", "/prove/shipment/SH-9/", "/prove/looks/", "/prove/ledger/"):
        client.get(url)

    assert noted() == []


def test_looking_writes_nothing_into_the_ledger(signed_in, cast, shipment):
    entries = LedgerEntry.objects.count()

    signed_in(cast.auditor).get("/prove/shipment/SH-1/")

    assert LedgerEntry.objects.count() == entries


def test_page_is_shown_though_its_look_cannot_be_written(signed_in, cast, shipment, monkeypatch, caplog):
    def refuse(*args, **kwargs):
        raise DatabaseError("disk full")

    monkeypatch.setattr(Look.objects.__class__, "create", refuse)

    assert signed_in(cast.auditor).get("/prove/shipment/SH-1/").status_code == 200
    assert "could not be noted" in caplog.text


def test_auditor_sees_who_looked_at_a_thing(signed_in, cast, shipment):
    signed_in(cast.planner).get("/prove/shipment/SH-1/")
    client = signed_in(cast.auditor)
    client.get("/prove/lot/HL-1/")
    trail = client.get(f"/prove/trail/shipment/{shipment.pk}/").content.decode()
    url = f"/prove/looks/?kind=shipment&thing={shipment.pk}"
    assert url.replace("&", "&amp;") in trail

    lines = client.get(url).context["page"].lines

    assert [(line.look.person.name, line.look.what) for line in lines] == [("Audun Helle", "audit trail"), ("Petra Lund", "record")]


def test_looks_are_asked_by_person_way_name_and_day(signed_in, cast, shipment, catalogue):
    signed_in(cast.planner).get("/prove/shipment/SH-1/")
    client = signed_in(cast.auditor)
    client.get("/prove/lot/HL-1/")
    client.get(f"/prove/trace/tool/{catalogue.tool.pk}/")

    def names(**asked):
        return [line.look.name for line in client.get("/prove/looks/", asked).context["page"].lines]

    assert names(by="planner") == ["SH-1"]
    assert names(what="trace") == ["AP-031"]
    assert names(about="hl") == ["HL-1"]
    assert names(**{"from": factories.days(1).isoformat()}) == []
    assert names(to=factories.days(-1).isoformat()) == []
    assert len(names()) == 3


def test_csv_has_every_look_and_is_itself_noted(signed_in, cast, shipment):
    client = signed_in(cast.auditor)
    client.get("/prove/shipment/SH-1/")

    rows = list(csv.reader(io.StringIO(client.get("/prove/looks/looks.csv").content.decode("utf-8-sig"))))

    assert [row[1:] for row in rows[1:]] == [["Audun Helle", "auditor", "shipment", "SH-1", "record opened", "page"]]
    assert noted()[-1] == ("auditor", "list", "looks", "export", "page")


@pytest.mark.parametrize("name", ["planner", "operator", "inspector"])
def test_others_do_not_see_who_looked(signed_in, cast, shipment, name):
    client = signed_in(getattr(cast, name))

    assert client.get("/prove/looks/").status_code == 403
    assert client.get("/prove/looks/looks.csv").status_code == 403
    assert "/prove/looks/" not in client.get("/prove/").content.decode()


def test_addresses_that_are_noted_exist(db):
    from django.urls import get_resolver  # noqa: PLC0415  # reads every urls module

    known = set()

    def walk(resolver, prefix):
        for pattern in resolver.url_patterns:
            if hasattr(pattern, "url_patterns"):
                walk(pattern, prefix + ([pattern.namespace] if pattern.namespace else []))
            elif pattern.name:
                known.add(":".join([*prefix, pattern.name]))

    walk(get_resolver(), [])
    assert set(LOOKED_AT) <= known
    assert reverse("prove:looks") == "/prove/looks/"
