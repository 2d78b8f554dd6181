"""Canonical JSON against the published vectors of RFC 8785 (test data of the RFC's author), and what may stand in a record."""

from __future__ import annotations

import json
from datetime import datetime
from decimal import Decimal
from pathlib import Path

import pytest
import rfc8785

from shop.canonical import canonical_json, content_sha256, plain, sha256_hex

VECTORS = json.loads((Path(__file__).parent.parent / "reference" / "data" / "jcs_vectors.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("vector", VECTORS["vectors"], ids=lambda vector: vector["name"])
def test_canonical_json_gives_the_published_bytes(vector):
    # The library is fed directly where a vector holds a double: a record of ours never does.
    text = rfc8785.dumps(json.loads(vector["input"]))

    assert text.hex() == vector["expected_utf8_hex"]
    assert sha256_hex(text) == vector["sha256"]


def test_decimal_keeps_its_digits_in_a_record():
    assert canonical_json({"height_mm": Decimal("1.80")}) == '{"height_mm":"1.80"}'


def test_key_order_does_not_change_the_hash():
    assert content_sha256({"a": 1, "b": [1, 2]}) == content_sha256({"b": [1, 2], "a": 1})


@pytest.mark.parametrize("value", [1.5, float("nan"), b"bytes", object(), datetime(2026, 3, 2, 14, 5)])  # noqa: DTZ001  # naive on purpose
def test_what_has_no_place_in_a_record_is_refused(value):
    with pytest.raises(TypeError):
        plain({"value": value})
