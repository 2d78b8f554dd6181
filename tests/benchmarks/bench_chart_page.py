"""How long the chart page of a batch with 5,000 samples takes beside the bare reading of the same rows.

Run by hand: .venv/bin/pytest -n0 -s tests/benchmarks/bench_chart_page.py
"""

import time
from datetime import timedelta
from decimal import Decimal

import numpy as np
import pytest
from django.db import connection
from django.urls import reverse

from inspection.models import Batch, Reading, Sample
from inspection.stream_drawing import drawn_chart
from inspection.stream_view import asked, stream_view
from tests.inspection.conftest import hand  # noqa: F401  # a fixture
from tests.inspection.test_charts_page import OF, run  # noqa: F401  # a fixture

SAMPLES = 5000
BARE = """select s.number, s.at_count, s.taken_at, r.value, r.text from inspection_sample s
join inspection_reading r on r.sample_id = s.id and r.characteristic = 'crimp height' where s.batch_id = %s order by s.taken_at"""


@pytest.fixture
def long_batch(run):  # noqa: F811  # a fixture
    last, reading = run.samples.order_by("number").last(), Reading.objects.filter(characteristic="crimp height").last()
    count = SAMPLES - run.samples.count()
    Sample.objects.bulk_create(
        [
            Sample(
                batch=run,
                number=last.number + n,
                kind="in process",
                setup_number=1,
                at_count=last.at_count + n,
                state="accepted",
                taken_by=last.taken_by,
                taken_at=last.taken_at + timedelta(minutes=n),
            )
            for n in range(1, count + 1)
        ]
    )
    values = np.random.default_rng(1).normal(1.4, 0.01, count)
    Reading.objects.bulk_create(
        [
            Reading(
                sample=sample,
                characteristic="crimp height",
                piece=1,
                text=f"{value:.3f}",
                unit="mm",
                value=Decimal(f"{value:.3f}"),
                outcome="conforms",
                gauge=reading.gauge,
                calibration=reading.calibration,
                by=reading.by,
                at=sample.taken_at,
            )
            for sample, value in zip(run.samples.filter(number__gt=last.number).order_by("number"), values, strict=True)
        ]
    )
    return Batch.objects.get(pk=run.pk)


def fastest(do, times=5):
    took = []
    for _ in range(times):
        begin = time.perf_counter()
        do()
        took.append(time.perf_counter() - begin)
    return min(took)


def test_chart_page_of_five_thousand_samples(long_batch, signed_in, cast):
    client, query = signed_in(cast.quality), OF | {"batch": long_batch.number, "last": "5000"}

    def bare():
        with connection.cursor() as cursor:
            cursor.execute(BARE, [long_batch.pk])
            assert len(cursor.fetchall()) >= SAMPLES - 1

    class Query(dict):
        def getlist(self, key):
            return []

    ask = asked(Query(query))
    view = stream_view(ask)
    rows, reading = fastest(bare), fastest(lambda: stream_view(ask))
    drawing, page = fastest(lambda: drawn_chart(view)), fastest(lambda: client.get(reverse("studies:stream"), query))
    print(f"\nbare rows {rows * 1e3:.0f} ms; reading and chart {reading * 1e3:.0f} ms ({reading / rows:.1f} x);")
    print(f"drawing {drawing * 1e3:.0f} ms; whole page {page * 1e3:.0f} ms ({page / rows:.1f} x)")
