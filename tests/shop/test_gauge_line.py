"""Lines as gauges send them. The same vectors are read on the tablet (tests/browser/test_devices.py)."""

from __future__ import annotations

import contextlib
import json
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.gauge_line import BadLine, read_line

VECTORS = json.loads((Path(__file__).parent / "vectors" / "gauge_lines.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("vector", VECTORS, ids=lambda v: f"{v['line'].strip()} by {v['pattern']}")
def test_line_is_read_as_the_vectors_say(vector):
    given_parts = (vector["line"], vector["pattern"], vector.get("decimal", "either"), vector.get("unit", ""))
    if "rule" in vector:
        with pytest.raises(BadLine) as refused:
            read_line(*given_parts)
        assert refused.value.rule == vector["rule"]
    else:
        sent = read_line(*given_parts)
        assert (sent.text, sent.unit) == (vector["text"], vector["is"])


@given(st.text(max_size=130), st.sampled_from(["{skip}{value}{skip}{unit}{skip}", "{text},{value} {unit}", "{skip}{value}"]))
def test_any_line_is_read_or_refused_at_once(line, pattern):
    began = time.perf_counter()
    with contextlib.suppress(BadLine):
        float(read_line(line, pattern, unit="mm").text)
    assert time.perf_counter() - began < 1
