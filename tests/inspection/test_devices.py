"""Values that a gauge sends: how they came in is kept, the gauge's own unit counts, and a simulated one is no measurement."""

from __future__ import annotations

import json
import re

import pytest
from django.urls import reverse

from inspection.acts.samples import record_reading, start_sample
from inspection.contents import sample_content
from inspection.devices import device_for
from inspection.models import Reading
from inspection.plan import plan_of
from shop.catalogue import KINDS
from shop.clock import now
from shop.finding import Refused
from shop.gauge_line import QUANTITY_OF
from shop.tools import Gauge, SentUnit
from tests import factories


@pytest.fixture
def sample(proven, cast):
    return start_sample(batch=proven, kind="first piece", at_count=3, by=cast.operator, at=now())


def take(sample, cast, text="1.402", **fields):
    stated = {"characteristic": "crimp height", "piece": 1, "unit": "mm"} | fields
    return record_reading(sample=sample, text=text, by=cast.operator, at=now(), **stated)


@pytest.fixture
def form(client, cast, sample):
    """Send the value form of the first crimp height as a browser does."""
    client.force_login(cast.operator)
    address = reverse("make:reading", args=[sample.batch.number, sample.number, "crimp-height", 1])

    def send(**typed):
        key = re.search(r'name="act_key" value="([^"]+)"', client.get(address).content.decode())[1]
        return client.post(address, {"act_key": key, "unit": "mm", **typed})

    return send


def test_reading_keeps_how_it_came_in_and_the_signature_covers_it(sample, cast):
    take(sample, cast, source="serial")
    take(sample, cast, piece=2)

    said = [(r["value"], r.get("source")) for r in sample_content(sample)["readings"]]
    assert said == [("1.402", "serial"), ("1.402", None)]  # what says nothing reads as it did before this was asked


def test_simulated_value_is_refused_where_nobody_trains(sample, cast, settings):
    with pytest.raises(Refused) as refused:
        take(sample, cast, source="simulated")
    assert [f.rule for f in refused.value.findings] == ["reading.simulated"]
    assert not Reading.objects.exists()

    settings.SIMULATED_GAUGE = True
    assert take(sample, cast, source="simulated").source == "simulated"


def test_source_nobody_knows_is_refused(sample, cast):
    with pytest.raises(Refused) as refused:
        take(sample, cast, source="telepathy")
    assert [f.rule for f in refused.value.findings] == ["reading.source"]


@pytest.mark.parametrize(
    ("sent", "kept"),
    [("1.402 mm", ("1.402", "mm")), ("1402 µm", ("1402", "µm")), ("1402um", ("1402", "µm")), ("0.0552 in", ("0.0552", "in"))],
)
def test_unit_the_gauge_sends_outranks_the_button(form, sent, kept):
    assert form(text=sent, source="serial").status_code == 302

    row = Reading.objects.get()
    assert ((row.text, row.unit), row.source) == (kept, "serial")


@pytest.mark.parametrize("sent", ["1.402 N", "1.402 kN", "1.4 ohm"])
def test_unit_of_another_quantity_is_refused_in_words(form, sent):
    answer = form(text=sent, source="serial")

    assert answer.status_code == 422
    assert "has a unit that does not belong here" in answer.content.decode()
    assert not Reading.objects.exists()


def test_form_that_does_not_say_was_typed_into(form):
    form(text="1.402")

    assert Reading.objects.get().source == "typed"


def test_page_tells_the_tablet_how_its_gauge_sends(client, cast, sample, catalogue):
    output = factories.make_gauge_output("cable", pattern="PK {value}{unit}", request="P\\r")
    Gauge.objects.filter(kind="crimp-height micrometer").update(output=output)
    planned = plan_of(sample).planned("crimp height")

    device = device_for(sample, planned.gauge_kind, "length", planned.limits)

    assert device.way == "serial"
    assert json.loads(device.offer)["request"] == "P\r"
    assert json.loads(device.offer)["port"] == {"baudRate": 9600, "dataBits": 8, "parity": "none", "stopBits": 1}
    assert json.loads(device.live)["limits"] == {"low": f"{planned.limits.low:f}", "high": f"{planned.limits.high:f}"}
    assert device.simulation == ""


def test_api_keeps_and_shows_how_a_value_came(client, cast, sample):
    client.force_login(cast.operator)
    body = {"characteristic": "crimp height", "piece": 1, "value": "1.402", "unit": "mm", "came": "serial"}

    answer = client.post(f"/api/v1/samples/{sample.pk}/readings/", body, content_type="application/json", headers={"Idempotency-Key": "k1"})

    assert (answer.status_code, answer.json()["came"]) == (201, "serial")


def test_every_unit_a_gauge_may_send_is_known():
    assert set(SentUnit.values) == set(QUANTITY_OF)


@pytest.mark.parametrize(
    ("stated", "field"),
    [({"pattern": "{value} {number}"}, "pattern"), ({"pattern": "{unit}"}, "pattern"), ({"pattern": "{value}", "unit": ""}, "unit")],
)
def test_line_that_reads_nothing_is_refused_at_the_desk(catalogue, stated, field):
    kind = KINDS["gauge-outputs"]
    item = kind.items(factories.today()).get()

    form = kind.form(kind.stated(item) | stated, instance=item)

    assert list(form.errors) == [field]
