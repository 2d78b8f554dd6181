"""A batch at each step of its way, brought there through the acts."""

from __future__ import annotations

import pytest

from inspection.models import Batch
from records.demo.walk import Hand, sample_at, set_up
from shop.clock import now
from tests import factories
from tests.remembered import remembered

CODES = ["AP-031", "TL-2001", "WL-1001", "MIC-01", "CAL-01", "PULL-01"]


@pytest.fixture
def codes():
    """What belongs to the sheet, in the order at the press."""
    return list(CODES)


@pytest.fixture
def hand(cast):
    return Hand(cast.operator, cast.operator.badge, factories.PIN)


@pytest.fixture
def inspector(cast):
    return Hand(cast.inspector, cast.inspector.badge, factories.PIN)


@pytest.fixture
def quality(cast):
    return Hand(cast.quality, cast.quality.badge, factories.PIN)


@pytest.fixture
@remembered
def termination(cast, catalogue):
    """Released, 100 pieces, a sample every 50, an inspector countersigns."""
    return factories.released(cast, catalogue, inspector_signs=True, sample_every=50).terminations.get()


@pytest.fixture
@remembered
def proven(termination, hand):
    """A batch of 100 whose set-up is proven."""
    return set_up(termination, CODES, 100, hand, now)


@pytest.fixture
@remembered
def running(proven, hand, inspector):
    """A batch whose first piece was approved at piece 5."""
    sample_at(proven, "first piece", 5, hand, now, inspector)
    return Batch.objects.get()
