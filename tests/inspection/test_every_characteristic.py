"""Samples measure what the plan asks of every characteristic, at the interval the plan asks for."""

from datetime import timedelta
from decimal import Decimal

import pytest
import time_machine
from django.urls import reverse

from inspection.acts.batches import pieces_tested
from inspection.acts.samples import record_reading, start_sample
from inspection.contents import sample_content
from inspection.models import Batch, Reading
from inspection.plan import sample_plan
from inspection.queries import sample_due
from inspection.set_up import gauges_needed
from records.demo.walk import sample_at, set_up
from shop.clock import now
from shop.finding import Refused
from shop.jobs import PlanLine
from tests import factories
from tests.inspection.conftest import CODES
from tests.remembered import remembered

MORE = {
    "bell_mouth_min_mm": Decimal("0.2"),
    "bell_mouth_max_mm": Decimal("0.5"),
    "brush_min_mm": Decimal("0.1"),
    "brush_max_mm": Decimal("0.8"),
    "cut_off_tab_max_mm": Decimal("0.3"),
    "resistance_max_mohm": Decimal("0.85"),
    "compaction_min_pct": Decimal(78),
    "compaction_max_pct": Decimal(90),
}


@pytest.fixture
@remembered
def full(cast, catalogue):
    """A termination whose specification states limits of everything."""
    for name, value in MORE.items():
        setattr(catalogue.specification, name, value)
    catalogue.specification.save()
    factories.make_gauge("OHM-01", "milliohm meter", "mΩ", "0.01")
    factories.make_gauge("MS-01", "measuring microscope", "mm", "0.005")
    return factories.released(cast, catalogue).terminations.get()


@pytest.fixture
@remembered
def sample(full, hand, cast):
    batch = set_up(full, [*CODES, "OHM-01", "MS-01"], 100, hand, now)
    return start_sample(batch=batch, kind="first piece", at_count=5, by=cast.operator, at=now())


def read(sample, by, characteristic, text, unit, **more):
    return record_reading(sample=sample, characteristic=characteristic, piece=1, text=text, unit=unit, by=by, at=now(), **more)


def test_set_up_asks_for_every_gauge_the_plan_needs(full):
    assert gauges_needed(full) == ["crimp-height micrometer", "caliper", "measuring microscope", "milliohm meter", "pull tester"]


@pytest.mark.parametrize(
    ("characteristic", "text", "unit", "value", "outcome"),
    [
        ("bell mouth", "0.30", "mm", "0.30", "conforms"),
        ("bell mouth", "0.55", "mm", "0.55", "does not conform"),
        ("conductor brush", "0.02", "in", "0.508", "conforms"),
        ("cut-off tab", "0.31", "mm", "0.31", "does not conform"),
        ("resistance", "850", "µΩ", "0.85", "conforms"),
        ("resistance", "0.86", "mΩ", "0.86", "does not conform"),
    ],
)
def test_value_is_judged_in_the_unit_of_its_quantity(sample, cast, characteristic, text, unit, value, outcome):
    reading = read(sample, cast.operator, characteristic, text, unit)
    assert (reading.text, reading.unit, reading.value, reading.outcome) == (text, unit, Decimal(value), outcome)


def test_signed_content_names_the_unit_of_the_limits(sample, cast):
    read(sample, cast.operator, "resistance", "0.50", "mΩ")
    (row,) = sample_content(sample)["readings"]
    assert (row["limits_mohm"], row["gauge"]) == ({"low": "", "high": "0.85"}, "OHM-01")


@pytest.mark.parametrize(
    ("characteristic", "text", "unit"), [("resistance", "0.5", "mm"), ("bell mouth", "0.3", "mΩ"), ("resistance", "1", "MΩ")]
)
def test_unit_of_another_quantity_is_refused(sample, cast, characteristic, text, unit):
    with pytest.raises(Refused) as refused:
        read(sample, cast.operator, characteristic, text, unit)
    assert [f.rule for f in refused.value.findings] == ["reading.wrong_unit"]
    assert not Reading.objects.exists()


def test_compaction_is_read_by_somebody_qualified_for_sections_and_costs_a_piece(sample, cast):
    with pytest.raises(Refused) as refused:
        read(sample, cast.operator, "compaction", "84", "%")
    assert [f.rule for f in refused.value.findings] == ["use.person.qualification"]
    reading = read(sample, cast.inspector, "compaction", "84.5", "%")
    assert (reading.value, reading.outcome, reading.gauge.asset_number) == (Decimal("84.5"), "conforms", "MS-01")
    assert pieces_tested(Batch.objects.get()) == 1


def test_tablet_asks_for_each_characteristic_in_its_own_unit(sample, signed_in, cast):
    client, number = signed_in(cast.operator), sample.batch.number
    address = reverse("make:reading", args=[number, 1, "cut-off-tab", 1])
    page = client.get(address)
    assert (page.context["page"].limits, [u.value for u in page.context["page"].units]) == ("at most 0.30 mm", ["mm", "in"])
    ohms = client.get(reverse("make:reading", args=[number, 1, "resistance", 1]))
    assert (ohms.context["page"].limits, [u.value for u in ohms.context["page"].units]) == ("at most 0.85 mΩ", ["mΩ", "µΩ"])
    typed = {"act_key": ohms.context["screen"].key, "text": "0.42 mΩ", "unit": "mΩ"}
    assert client.post(reverse("make:reading", args=[number, 1, "resistance", 1]), typed).status_code == 302
    assert Reading.objects.get().text == "0.42"
    assert client.get(reverse("make:reading", args=[number, 1, "sausage", 1])).status_code == 404


def test_line_for_every_second_sample_asks_in_every_second_sample(termination):
    PlanLine.objects.create(termination=termination, characteristic="crimp width", sample_pieces=2, every_nth=2)
    asked = [[(p.characteristic, p.pieces) for p in sample_plan(termination, "in process", nth).readings] for nth in range(4)]
    with_width = [("crimp height", 1), ("crimp width", 2)]
    assert asked == [with_width, [("crimp height", 1)], with_width, [("crimp height", 1)]]


def test_every_second_sample_is_counted_within_the_set_up(running, cast, hand):
    PlanLine.objects.create(termination=running.termination, characteristic="crimp width", sample_pieces=1, every_nth=2)
    sample_at(running, "in process", 50, hand, now)
    sample_at(running, "in process", 90, hand, now)
    widths = Reading.objects.filter(sample__kind="in process", characteristic="crimp width")
    assert [r.sample.at_count for r in widths] == [50]


# --- The interval in minutes -----------------------------------------------------------------------------------------------------


@pytest.fixture
def by_the_hour(running):
    running.termination.__class__.objects.update(sample_every_minutes=60)
    return running


def test_run_says_until_when_the_next_sample_is_due_and_when_it_is(by_the_hour, signed_in, cast):
    client, address = signed_in(cast.operator), reverse("make:run", args=[by_the_hour.number])
    facts = client.get(address).context["page"].facts
    taken = by_the_hour.samples.get().taken_at
    assert (facts.due.at_count, facts.due.at, facts.due.now) == (55, taken + timedelta(minutes=60), False)
    with time_machine.travel(taken + timedelta(minutes=61), tick=False):
        client = signed_in(cast.operator)
        page = client.get(address)
        assert page.context["page"].facts.due.now
        assert "is-due" in page.content.decode()
        station = client.get(reverse("make:station"))
        assert "A sample is due now" in station.content.decode()


def test_sample_is_due_when_the_count_reaches_it(by_the_hour, hand):
    by_the_hour.last_count = 54
    assert not sample_due(by_the_hour, now()).now
    by_the_hour.last_count = 55
    assert sample_due(by_the_hour, now()).now


def test_without_minutes_only_the_count_decides(running):
    due = sample_due(running, now() + timedelta(days=3))
    assert (due.at, due.now) == (None, False)
