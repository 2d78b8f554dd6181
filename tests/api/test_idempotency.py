"""A write with a key is done once, however often it is sent, and answers the same each time."""

from __future__ import annotations

import pytest

from inspection.models import Batch, Reading, SetupScan
from records.models import LedgerEntry
from tests import factories
from tests.api.conftest import CODES, own


@pytest.fixture
def termination(cast, catalogue):
    return factories.released(cast, catalogue, inspector_signs=True).terminations.get()


def test_repeated_key_answers_with_the_same_batch(programs, termination):
    body = {"termination": termination.pk, "quantity": 50}

    first = programs["operator"].post("batches/", body, key="tablet-7", status=201)
    entries = LedgerEntry.objects.count()
    again = programs["operator"].post("batches/", body, key="tablet-7", status=201)

    assert again == first
    assert (Batch.objects.count(), LedgerEntry.objects.count()) == (1, entries)


def test_key_may_stand_in_the_body(programs, termination):
    body = {"termination": termination.pk, "quantity": 50, "act_key": "tablet-7"}

    first = programs["operator"].post("batches/", body, **{"Idempotency-Key": None})
    again = programs["operator"].post("batches/", body, **{"Idempotency-Key": None})

    assert again["id"] == first["id"]


def test_write_without_a_key_is_refused(programs, termination):
    body = {"termination": termination.pk, "quantity": 50}

    assert programs["operator"].refused("batches/", body, **{"Idempotency-Key": None}) == ["once.key"]
    assert programs["operator"].refused("batches/", body, key="k" * 65) == ["once.key"]
    assert not Batch.objects.exists()


def test_key_used_for_another_body_or_address_is_refused(programs, termination):
    body = {"termination": termination.pk, "quantity": 50}
    batch = programs["operator"].post("batches/", body, key="tablet-7")

    assert programs["operator"].refused("batches/", body | {"quantity": 40}, key="tablet-7") == ["once.other"]
    assert programs["operator"].refused(f"batches/{batch['id']}/scan/", {"code": "AP-031"}, key="tablet-7") == ["once.other"]
    assert not SetupScan.objects.filter(code="AP-031").exists()


def test_refused_act_leaves_its_key_free(programs, termination):
    body = {"termination": termination.pk, "quantity": 101}
    programs["operator"].refused("batches/", body, key="tablet-7")

    assert programs["operator"].post("batches/", body | {"quantity": 100}, key="tablet-7")["quantity"] == 100


@pytest.mark.parametrize("code", ["AP-031", "TL-2002", "X-1"])
def test_repeated_scan_is_answered_alike_and_recorded_once(code, programs, termination):
    batch = programs["operator"].post("batches/", {"termination": termination.pk, "quantity": 50})
    address = f"batches/{batch['id']}/scan/"

    first = programs["operator"].post(address, {"code": code}, key="scan-1")
    again = programs["operator"].post(address, {"code": code}, key="scan-1")

    assert again == first
    assert SetupScan.objects.filter(code=code).count() == (0 if code == "X-1" else 1)


def test_repeated_reading_is_kept_once(programs, termination):
    batch = programs["operator"].post("batches/", {"termination": termination.pk, "quantity": 50})
    for code in CODES:
        programs["operator"].post(f"batches/{batch['id']}/scan/", {"code": code})
    sample = programs["operator"].post(f"batches/{batch['id']}/samples/", {"kind": "first piece", "at_count": 5})
    reading = {"characteristic": "crimp height", "piece": 1, "value": "1.41", "unit": "mm"}

    first = programs["operator"].post(f"samples/{sample['id']}/readings/", reading, key="r-1", status=201)
    again = programs["operator"].post(f"samples/{sample['id']}/readings/", reading, key="r-1", status=201)

    assert again == first
    assert Reading.objects.count() == 1


def test_repeated_conclusion_signs_once(shop, programs):
    sample = shop.measure(shop.sample(shop.set_up(), "first piece", 5))
    body = {"signature": own(), "seen_sha256": sample["content_sha256"]}

    first = programs["operator"].post(f"samples/{sample['id']}/conclude/", body, key="c-1")
    again = programs["operator"].post(f"samples/{sample['id']}/conclude/", body, key="c-1")

    assert (first["state"], again) == ("waits for inspector", first)
    assert LedgerEntry.objects.filter(kind="sample.concluded").count() == 1
