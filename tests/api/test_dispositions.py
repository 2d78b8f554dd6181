"""Held pieces by API: the same act, the same refusals, once."""

import pytest

from inspection.models import Disposition
from tests.api.conftest import DECISION, own
from tests.remembered import remembered


@pytest.fixture
@remembered
def closed(shop, programs):
    """A batch closed with 20 held pieces."""
    batch = shop.running()
    hold = programs["operator"].post(f"batches/{batch['id']}/hold/", {"reason": "burr", "at_count": 60})
    programs["quality"].post(f"holds/{hold['id']}/decide/", DECISION | {"kept_held": 20, "signature": own()})
    tested = 3
    counts = {"made": 60, "good": 40 - tested, "scrap": 0, "destroyed": tested, "held": 20}
    return programs["operator"].post(f"batches/{batch['id']}/close/", counts | {"signature": own()})


def scrap(quantity, **changed):
    return {"kind": "scrap", "quantity": quantity, "note": "burr", "signature": own()} | changed


def test_held_pieces_are_listed_decided_on_and_gone(programs, closed):
    quality = programs["quality"]
    assert [(row["number"], row["held"], row["decided"]) for row in quality.get("held/")["results"]] == [(closed["number"], 20, 0)]
    at = f"batches/{closed['id']}/dispositions/"
    made = quality.post(at, scrap(20), status=201)
    assert (made["number"], made["kind"], made["quantity"]) == (1, "scrap", 20)
    assert quality.get(at) == [made]
    assert quality.get("held/")["results"] == []


def test_refusals_are_those_of_the_act(programs, closed):
    at = f"batches/{closed['id']}/dispositions/"
    assert programs["quality"].refused(at, scrap(21)) == ["disposition.quantity"]
    assert programs["quality"].refused(at, scrap(1, kind="use as is")) == ["disposition.concession"]
    assert programs["quality"].refused(at, scrap(1, kind="rework")) == ["disposition.rework"]
    assert "person.role" in programs["operator"].refused(at, scrap(1), status=403)
    assert not Disposition.objects.exists()


def test_retry_with_the_same_key_decides_once(programs, closed):
    at = f"batches/{closed['id']}/dispositions/"
    first = programs["quality"].ask("POST", at, scrap(5), key="again-1")
    second = programs["quality"].ask("POST", at, scrap(5), key="again-1")
    assert (first.status, second.status, Disposition.objects.count()) == (201, 201, 1)
