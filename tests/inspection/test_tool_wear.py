"""Tool wear in the shop: counts on samples, the page of a tool, the forecast in the tool crib."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from inspection.acts.batches import CLOSED_MEANING, Counts, close_batch
from inspection.models import Batch, Reading, Sample
from inspection.wearing import first_forecast, keep_forecast, replacements, wear_of
from records.demo.walk import sample_at
from shop.clock import now
from shop.crib import WearPart
from shop.crib_queries import Horizon, crib_lines
from shop.tools import Tool
from tests import factories

NOISE = (0.001, -0.0015, 0.0005, -0.001, 0.001)  # invented


def history(batch, heights, *, step=1000, start=1000):
    """Concluded samples of one crimp height each, at counts that grow by `step`."""
    calibration = batch.scans.filter(gauge__asset_number="MIC-01").get().calibration
    at = now() - timedelta(days=30)
    for i, height in enumerate(heights):
        sample = Sample.objects.create(
            batch=batch,
            number=100 + i,
            kind="in process",
            setup_number=1,
            at_count=0,
            tool_count=start + step * i,
            state="accepted",
            taken_by=batch.opened_by,
            taken_at=at + timedelta(minutes=i),
            concluded_at=at,
        )
        Reading.objects.create(
            sample=sample,
            characteristic="crimp height",
            piece=1,
            text=f"{height:.4f}",
            unit="mm",
            value=Decimal(f"{height:.4f}"),
            low=Decimal("1.35"),
            high=Decimal("1.45"),
            outcome="conforms",
            gauge=calibration.gauge,
            calibration=calibration,
            by=batch.opened_by,
            at=at,
        )


def drifting(count=30, slope=1e-6, level=1.38):
    return [level + slope * 1000 * (i + 1) + NOISE[i % 5] for i in range(count)]


@pytest.fixture
def drifted(proven):
    history(proven, drifting())
    Tool.objects.update(crimp_count=30_000)
    return Tool.objects.get(asset_number="AP-031")


def test_sample_keeps_the_counter_of_its_tool(running, catalogue, hand):
    Tool.objects.filter(pk=catalogue.tool.pk).update(crimp_count=12_000)
    sample_at(Batch.objects.get(), "in process", 50, hand, now)
    assert Sample.objects.get(kind="in process").tool_count == 12_050


def test_drift_of_a_tool_forecasts_the_count_at_its_limit(drifted):
    (worn,) = wear_of(drifted)
    assert worn.answer.drifts
    found = first_forecast(drifted, [worn], now())
    assert (found.forecast.what, round(found.forecast.at_count, -3)) == ("upper limit", 70_000)  # 1.38 + 1e-6 x 70,000 = 1.45


def test_first_part_of_each_kind_came_with_the_tool_and_is_no_replacement(drifted, cast):
    given = {"tool": drifted, "part_number": "CR-1", "fitted_by": cast.planner}
    gone = {"removed_on": factories.days(-9), "removed_at_count": 21_500, "removed_because": "worn", "removed_by": cast.planner}
    WearPart.objects.create(kind="crimper", fitted_on=factories.days(-90), fitted_at_count=0, **gone, **given)
    WearPart.objects.create(kind="anvil", fitted_on=factories.days(-90), fitted_at_count=0, **given)
    assert replacements(drifted) == []
    WearPart.objects.create(kind="crimper", fitted_on=factories.days(-9), fitted_at_count=21_500, **given)
    assert replacements(drifted) == [21_500]
    (worn,) = wear_of(drifted)
    assert len(worn.answer.stretches) == 2


def test_tool_crib_shows_what_the_drift_forecasts(drifted):
    keep_forecast(drifted, now())
    tool = Tool.objects.get(pk=drifted.pk)
    assert (round(tool.drift_due_count, -3), tool.drift_matter) == (70_000, "T-250-F 0.754 mm²: upper limit")
    near = [line for line in crib_lines(factories.today(), Horizon(30, 60_000)) if line.asset == "AP-031" and "drift" in line.matter]
    assert [(line.group, line.note) for line in near] == [("due", tool.drift_matter)]
    far = [line for line in crib_lines(factories.today(), Horizon(30, 1000)) if "drift" in line.matter]
    assert far == []


def test_tool_without_a_drift_forecasts_nothing_and_forgets_an_old_forecast(proven):
    history(proven, [1.40 + e for e in NOISE] * 6)
    Tool.objects.update(drift_due_count=5, drift_matter="old")
    keep_forecast(Tool.objects.get(asset_number="AP-031"), now())
    tool = Tool.objects.get(asset_number="AP-031")
    assert (tool.drift_due_count, tool.drift_matter) == (None, "")


def test_closing_a_batch_renews_the_forecast(running, hand, drifted_after, django_capture_on_commit_callbacks):
    at = now()
    batch = Batch.objects.get()
    counts = Counts(made=60, good=56, scrap=0, destroyed=4, held=0)
    with django_capture_on_commit_callbacks(execute=True):
        close_batch(batch=batch, counts=counts, by=hand.person, at=at, signing=hand.sign(CLOSED_MEANING, at))
    assert Tool.objects.get(asset_number="AP-031").drift_due_count is not None


@pytest.fixture
def drifted_after(running, hand):
    history(running, drifting())
    sample_at(Batch.objects.get(), "last piece", 60, hand, now)


def test_page_shows_the_drift_and_says_so_where_there_is_too_little(drifted, signed_in, cast):
    client, address = signed_in(cast.quality), reverse("studies:wear", args=["AP-031"])
    page = client.get(address)
    (section,) = page.context["page"].sections
    assert section.facts[0].word == "drifts"
    assert section.facts[0].value.startswith("10.") or section.facts[0].value.startswith("9.")  # 1e-6 mm a crimp: 10 µm in 10,000
    assert re.search(r"upper limit at about (69|70|71)\d{3} crimps", page.context["page"].first)
    other = client.get(reverse("studies:wear", args=["AP-040"]))
    assert "no crimp heights with a count" in other.content.decode()
    assert client.get(reverse("studies:wear", args=["AP-999"])).status_code == 404
