"""Control charts through the API: read, freeze, answer signals, end."""

import pytest

from inspection.models import Batch, ChartSignal, ControlLimits, Reaction
from records.models import LedgerEntry
from tests.api.conftest import STREAM, own
from tests.inspection.conftest import hand  # noqa: F401  # a fixture
from tests.inspection.test_charts_page import run  # noqa: F401  # a fixture
from tests.inspection.test_control import measure_one

ADDRESS = "charts/?tool=AP-031&terminal=T-250-F&csa=0.754&characteristic=crimp+height"


@pytest.fixture
def frozen(programs, run):  # noqa: F811  # a fixture
    return freeze(programs["quality"])


def freeze(program, **changed):
    chart = program.get(ADDRESS)
    body = {"chart": chart["chart"], "reason": "22 samples, quiet", "signature": own(), "seen_sha256": chart["proposal_sha256"]}
    return program.post("charts/limits/", STREAM | body | changed, status=201)


def test_chart_has_its_samples_and_panels(programs, run):  # noqa: F811  # a fixture
    chart = programs["auditor"].get(ADDRESS)
    assert (chart["chart"], chart["frozen"], chart["limits_in_force"]) == ("individuals", False, None)
    assert [sample["values"] for sample in chart["samples"][1:3]] == [["1.398"], ["1.402"]]
    location, moving = chart["panels"]
    assert location["points"][1:3] == [1.398, 1.402]
    assert (len(location["points"]), len(moving["points"])) == (22, 21)
    assert moving["samples"][0] == 1
    assert chart["proposal_sha256"]


def test_frozen_chart_is_read_with_its_limits(programs, frozen):
    chart = programs["auditor"].get(ADDRESS)
    assert (chart["frozen"], chart["limits_in_force"]["id"]) == (True, frozen["id"])
    assert chart["proposal_sha256"] == ""
    assert programs["auditor"].get("charts/limits/?in_force=true")["count"] == 1
    assert LedgerEntry.objects.filter(kind="control.limits_frozen").count() == 1


def test_limits_are_frozen_over_what_was_seen_only(programs, run):  # noqa: F811  # a fixture
    body = STREAM | {"chart": "individuals", "reason": "x", "signature": own(), "seen_sha256": "0" * 64}
    assert programs["quality"].refused("charts/limits/", body) == ["sign.stale"]
    assert programs["quality"].refused("charts/limits/", body | {"tool": "NONE"}) == ["control.stream"]
    assert not ControlLimits.objects.exists()


def test_signals_are_answered_together_and_once(programs, frozen, run, hand):  # noqa: F811  # fixtures
    measure_one(run, hand, "1.430", 300)
    open_ones = [signal["id"] for signal in programs["operator"].get(ADDRESS)["signals"] if signal["answered"] is False]
    assert sorted(open_ones) == sorted(ChartSignal.objects.values_list("pk", flat=True))
    body = {"signals": open_ones, "cause": "setting", "text": "dial set back"}
    answered = programs["operator"].post("charts/reactions/", body, key="k-1", status=201)
    assert {one["text"] for one in answered["reactions"]} == {"dial set back"}
    assert programs["operator"].post("charts/reactions/", body, key="k-1", status=201) == answered
    assert Reaction.objects.count() == len(open_ones)
    assert programs["operator"].refused("charts/reactions/", body) == ["control.reaction.once"]
    assert programs["operator"].refused("charts/reactions/", body | {"signals": [2**40]}) == ["control.signals"]
    assert Batch.objects.get().signals.count() == len(open_ones)


def test_limits_end_with_a_signature(programs, frozen):
    address = f"charts/limits/{frozen['id']}/end/"
    assert programs["quality"].refused(address, {"reason": " ", "signature": own()}) == ["control.reason"]
    ended = programs["quality"].post(address, {"reason": "new crimper", "signature": own()})
    assert ended["ended_because"] == "new crimper"
    assert programs["quality"].refused(address, {"reason": "x", "signature": own()}) == ["control.ended"]


def test_stream_that_is_none_is_refused_with_words(programs, catalogue):
    for address in ("charts/?tool=NONE", "charts/", "charts/?tool=AP-031&terminal=T-250-F&csa=much"):
        assert programs["auditor"].refused(address, method="GET") == ["control.stream"]
