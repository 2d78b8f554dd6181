"""Charts at the desk: the list of streams, one stream with its signals, freezing and ending limits, answering, data to take along."""

import csv
import io
from urllib.parse import urlencode

import pytest
from django.urls import reverse

from inspection.models import Batch, ChartSignal, ControlLimits, Reaction
from records.demo.walk import sample_at, set_up
from shop.clock import now
from tests import factories
from tests.factories import PIN
from tests.inspection.conftest import CODES
from tests.inspection.test_control import HEIGHTS, freeze, measure_one
from tests.remembered import remembered

OF = {"tool": "AP-031", "terminal": "T-250-F", "csa": "0.754", "characteristic": "crimp height"}


@pytest.fixture
@remembered
def run(cast, catalogue, hand):
    """A batch with 22 samples of single heights about 1.400."""
    t = factories.released(cast, catalogue, sample_every=10, first_piece_heights=1, quantity=5000).terminations.get()
    batch = set_up(t, CODES, 5000, hand, now)
    sample_at(batch, "first piece", 5, hand, now)
    for number in range(21):
        measure_one(Batch.objects.get(), hand, HEIGHTS[number % len(HEIGHTS)], 10 * (number + 1))
    return Batch.objects.get()


@pytest.fixture
def stream(run):
    from inspection.streams import Stream  # noqa: PLC0415  # beside the fixture that needs it

    t = run.termination
    return Stream(t.tool, t.terminal, t.csa_mm2, "crimp height")


@pytest.fixture
@remembered
def frozen(stream, cast):
    return freeze(stream, cast.quality)


def address(name="stream", **more):
    return f"{reverse(f'studies:{name}')}?{urlencode(OF | more, doseq=True)}"


def page_of(answer):
    assert answer.status_code == 200, answer.content
    return answer.context["page"]


def lines(page):
    return {line.characteristic: line for process in page.found.processes for line in process.lines}


def test_list_shows_what_was_measured_with_limits_and_signals(signed_in, cast, run, frozen, hand):
    measure_one(run, hand, "1.430", 300)
    page = page_of(signed_in(cast.planner).get(reverse("studies:charts")))
    height = lines(page)["crimp height"]
    assert (height.samples, height.since) == (23, frozen.frozen_at)
    assert height.open_signals == ChartSignal.objects.count() > 0
    assert "pull force" in lines(page)
    assert lines(page)["pull force"].since is None


def test_list_is_narrowed_by_the_address(signed_in, cast, run, frozen):
    client = signed_in(cast.planner)

    def listed(**query):
        return set(lines(page_of(client.get(reverse("studies:charts"), query))))

    assert listed(characteristic="crimp height") == {"crimp height"}
    assert listed(state="frozen") == {"crimp height"}
    assert "crimp height" not in listed(state="none")
    assert listed(state="signals") == set()
    assert listed(q="nothing-of-this-name") == set()
    assert listed(by="tool", characteristic="crimp height") == {"crimp height"}
    assert "pull force" not in listed(by="tool")


def test_list_asks_a_fixed_number_of_questions(signed_in, cast, run, catalogue, hand, django_assert_max_num_queries):
    client = signed_in(cast.planner)
    client.get(reverse("studies:charts"))
    with django_assert_max_num_queries(12):
        client.get(reverse("studies:charts"))


def test_stream_on_provisional_limits_says_so_and_offers_to_freeze(signed_in, cast, run):
    page = page_of(signed_in(cast.quality).get(address()))
    assert page.state == "provisional limits, computed from the samples shown"
    assert len(page.view.samples) == 22
    assert page.freeze_url
    assert "control-chart" in page.chart
    assert "1.402" in page.rows[0].values or page.rows[0].values in HEIGHTS
    assert not page_of(signed_in(cast.planner).get(address())).freeze_url


def test_stream_asks_the_same_number_of_questions_for_more_samples(signed_in, cast, run, django_assert_max_num_queries):
    client = signed_in(cast.quality)
    for last in ("25", "5000"):
        with django_assert_max_num_queries(16):
            client.get(address(last=last))


def test_chart_rules_and_span_come_from_the_address(signed_in, cast, run):
    client = signed_in(cast.quality)
    page = page_of(client.get(address(chart="EWMA", last="25", rule=["nelson.1", "western.2"])))
    assert [choice.value for choice in page.kinds if choice.checked] == ["EWMA"]
    assert [code for code, _words, is_on in page.rules if is_on] == ["nelson.1", "western.2"]
    page = page_of(client.get(address(since="2020-01-01", until="2020-02-01")))
    assert page.view.samples == ()
    assert "No samples yet" in page.chart


def test_subgroup_chart_of_single_values_is_refused_with_the_reason(signed_in, cast, run):
    page = page_of(signed_in(cast.quality).get(address(chart="mean and range")))
    assert page.view.drawn is None
    assert page.why_not


@pytest.mark.parametrize("wrong", [{"tool": "NONE"}, {"terminal": "NONE"}, {"csa": "x"}, {"csa": "NaN"}, {"characteristic": "colour"}])
def test_stream_that_does_not_exist_is_not_found(signed_in, cast, run, wrong):
    assert signed_in(cast.quality).get(address(**wrong)).status_code == 404


def test_limits_are_frozen_with_a_signature_over_what_the_page_shows(signed_in, cast, run):
    client = signed_in(cast.quality)
    url = page_of(client.get(address(chart="individuals"))).freeze_url
    page = page_of(client.get(url))
    assert page.samples == 22
    answer = client.post(url, {"seen_sha256": page.sha256, "reason": "25 samples, quiet", "secret": PIN})
    assert answer.status_code == 302, answer.content
    limits = ControlLimits.objects.get()
    assert (limits.frozen_by, limits.basis["sha256"]) == (cast.quality, page.sha256)
    assert page_of(client.get(address())).view.frozen


def test_freezing_without_a_reason_or_after_a_new_sample_is_refused_with_the_page(signed_in, cast, run, hand):
    client = signed_in(cast.quality)
    url = page_of(client.get(address())).freeze_url
    seen = page_of(client.get(url)).sha256
    answer = client.post(url, {"seen_sha256": seen, "reason": " ", "secret": PIN})
    assert answer.status_code == 422
    measure_one(run, hand, "1.401", 300)
    answer = client.post(url, {"seen_sha256": seen, "reason": "quiet", "secret": PIN})
    assert answer.status_code == 422
    assert not ControlLimits.objects.exists()


def test_only_quality_opens_the_page_that_freezes(signed_in, cast, run):
    assert signed_in(cast.planner).get(address("freeze")).status_code == 403


def test_limits_end_with_a_reason_and_a_signature(signed_in, cast, frozen):
    client, url = signed_in(cast.quality), reverse("studies:end-limits", args=[frozen.pk])
    assert page_of(client.get(url)).limits == frozen
    assert client.post(url, {"reason": "", "secret": PIN}).status_code == 422
    assert client.post(url, {"reason": "new crimper", "secret": PIN}).status_code == 302
    frozen.refresh_from_db()
    assert (frozen.ended_by, frozen.ended_because) == (cast.quality, "new crimper")


def test_signal_on_frozen_limits_is_drawn_listed_and_answered_at_the_desk(signed_in, cast, frozen, run, hand):
    measure_one(run, hand, "1.430", 300)
    client = signed_in(cast.quality)
    page = page_of(client.get(address()))
    assert {signal.code for signal in page.view.signals} == {signal.rule for signal in ChartSignal.objects.all()}
    assert all(signal.place == 22 for signal in page.view.signals)
    assert page.chart.count('class="point signalled"') >= 1
    (group,) = page.open_batches
    posted = {"signals": group.keys, "cause": "setting", "text": "dial set back"}
    assert client.post(address(), posted | {"text": " "}).status_code == 422
    assert client.post(address(), posted).status_code == 302
    assert Reaction.objects.count() == ChartSignal.objects.count()
    after = page_of(client.get(address()))
    assert after.open_batches == []
    assert {line.answer for line in after.signals} == {"dial set back"}


def test_batch_shows_its_own_samples(signed_in, cast, run):
    page = page_of(signed_in(cast.quality).get(address(batch=run.number)))
    assert page.batch == run.number
    assert {sample.batch for sample in page.view.samples} == {run.number}
    assert page.freeze_url == ""


def test_data_leave_as_they_were_typed(signed_in, cast, run):
    answer = signed_in(cast.planner).get(f"{reverse('studies:data', args=['csv'])}?{urlencode(OF)}")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert len(rows) == 22
    assert [row["value mm"] for row in rows[1:4]] == HEIGHTS[:3]
    assert rows[0]["moving range"] == ""
    assert float(rows[2]["moving range"]) == pytest.approx(abs(float(rows[2]["value mm"]) - float(rows[1]["value mm"])))
    assert signed_in(cast.planner).get(f"{reverse('studies:data', args=['xlsx'])}?{urlencode(OF)}").content[:2] == b"PK"


def test_defects_count_what_was_rejected(signed_in, cast, run, hand):
    client, url = signed_in(cast.quality), reverse("studies:defects")
    assert page_of(client.get(url)).causes == []
    measure_one(run, hand, "1.480", 300)
    page = page_of(client.get(url))
    assert [(row.name, row.count) for row in page.causes if row.kind == "out of limits"] == [("crimp height", 1)]
    assert page.causes[-1].cumulative == "100.0"
    assert page_of(client.get(url, {"tool": "AP-999"})).causes == []
    assert page_of(client.get(url, {"until": "2020-01-01", "since": "2019-01-01"})).causes == []
    assert b"crimp height" in client.get(reverse("studies:defects-data")).content


def test_run_page_at_the_press_shows_limits_in_force(signed_in, cast, run, frozen):
    chart = signed_in(cast.operator).get(reverse("make:run", args=[run.number])).context["page"].chart
    assert "upper control" in chart
    frozen.ended_at = now()
    frozen.save(update_fields=["ended_at"])
    assert "upper control" not in signed_in(cast.operator).get(reverse("make:run", args=[run.number])).context["page"].chart


def test_batch_record_links_to_its_chart(signed_in, cast, run):
    answer = signed_in(cast.quality).get(reverse("prove:batch", args=[run.number]))
    link = f"{reverse('studies:stream')}?tool=AP-031&amp;terminal=T-250-F&amp;csa=0.754"
    assert link in answer.content.decode()
