"""No body, whatever stands in its fields, ends in an unforeseen error: it is done, or refused with the rule at fault."""

from __future__ import annotations

import json

import pytest

from inspection.acts.batches import scan
from inspection.acts.holds import raise_hold
from inspection.acts.samples import start_sample
from inspection.models import Batch
from shop.catalogue import KINDS
from shop.clock import now
from shop.people import Role
from tests import factories
from tests.api.conftest import CODES, Program, every_write

NASTY = [
    "null",
    '""',
    '" "',
    "true",
    "0",
    "-1",
    "1.5",
    "1e400",
    "9" * 30,
    '"1e99"',
    '"\\u0000"',
    '"\\ud800"',
    json.dumps("x" * 3000),
    '"１２"',
    "[]",
    "[[]]",
    "{}",
    '["x", 1, null]',
]


@pytest.fixture
def everyman(spec, cast):
    """A person with every role and qualification: acts go as deep as the values let them."""
    for role in Role.values:
        factories.PersonRole.objects.get_or_create(person=cast.operator, role=role)
    return Program(spec, cast.operator)


def spoiled(body):
    """(field, body as JSON) with each field in turn replaced by each nasty value."""
    for name in body:
        for value in NASTY:
            rest = {key: json.dumps(other) for key, other in body.items() if key != name} | {name: value}
            yield name, "{" + ", ".join(f"{json.dumps(key)}: {text}" for key, text in rest.items()) + "}"


def test_hostile_field_of_any_write_is_done_or_refused(everyman, cast, catalogue):
    sheet = factories.released(cast, catalogue)
    factories.draft(cast, catalogue)
    body = {"termination": sheet.terminations.get().pk, "quantity": 50}
    batch = everyman.post("batches/", body)
    thing = Batch.objects.get()
    for code in CODES:
        thing = scan(batch=thing, code=code, by=cast.operator, at=now()).batch
    sample = start_sample(batch=thing, kind="first piece", at_count=5, by=cast.operator, at=now())
    hold = raise_hold(batch=thing, reason="burr", at_count=5, by=cast.operator, at=now())
    shown = everyman.get(f"samples/{sample.pk}/")

    tried = 0
    writes = every_write(batch, shown, {"id": hold.pk}, {"id": sheet.pk}, catalogue)
    package = {"of": "period", "number": "", "since": "2026-01-01", "until": "2026-01-31"}
    order = {"document_kind": "audit-trail", "number": "", "about": "batch", "id": thing.pk}
    for method, address, stated in [*writes, ("POST", "evidence-packages/", package), ("POST", "document-orders/", order)]:
        for name, raw in spoiled(stated or {}):
            if name == "signature" and "secret" not in raw:
                everyman.person.__class__.objects.update(failed_tries=0, locked_until=None)
            answer = everyman.ask(method, address, raw=raw)
            assert answer.status in (200, 201, 204, 403, 404, 409, 422), (address, name, raw[:200], answer.response.content)
            tried += 1
    assert tried > 1000


@pytest.mark.parametrize("slug", KINDS)
def test_hostile_field_of_any_item_is_saved_or_refused(slug, everyman, catalogue):
    factories.make_press("PR-01")
    item = everyman.get(f"catalogue/{slug}/?limit=1")["results"][0]
    body = {name: item.get(name) for name in KINDS[slug].form.base_fields if name not in KINDS[slug].form.only_new}

    for name, raw in spoiled(body):
        answer = everyman.ask("PATCH", f"catalogue/{slug}/{item['id']}/", raw=raw)
        assert answer.status in (200, 403, 422), (name, raw[:200], answer.response.content)


QUERIES = ["search=%00", "search=" + "x" * 3000, "limit=-1", "limit=1e3", "offset=" + "9" * 40, "limit=１２", "search=%ff"]


@pytest.mark.parametrize("query", QUERIES)
def test_hostile_query_is_answered_or_refused(query, everyman, catalogue):
    for address in ("jobs/", "sheets/", "catalogue/wires/", "batches/", "documents/", "ledger/", "shipments/"):
        assert everyman.ask("GET", f"{address}?{query}").status in (200, 422), (address, query)
    for name in ("number", "status", "subject_id", "after", "kind", "about", "job", "customer", "from"):
        value = query.partition("=")[2]
        for address in ("batches/", "documents/", "ledger/", "harness-lots/", "shipments/", "trace/", "trace/where/tool/AP-031/"):
            assert everyman.ask("GET", f"{address}?{name}={value}").status in (200, 422), (address, name, value)
