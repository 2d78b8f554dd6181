"""Opening and filling the example of a kind through the acts."""

from __future__ import annotations

import pytest

from inspection.acts.studies import analysis_of, open_study, opened, record_values
from inspection.models import Study
from shop.clock import now


@pytest.fixture
def run(cast, catalogue):
    """An example opened and filled: its study."""

    def filled(example):
        gauge = getattr(catalogue, example.gauge) if example.gauge else None
        study = open_study(
            kind=example.kind, title=f"Example of {example.kind}", set_up=example.set_up, gauge=gauge, by=cast.quality, at=now()
        )
        record_values(study=study, values=example.values, by=cast.inspector, at=now())
        return study

    return filled


@pytest.fixture
def answer(run):
    """The analysis of an example."""
    return lambda example: analysis_of(opened(Study.objects.get(pk=run(example).pk)))


def fact(analysis, label):
    """The fact of this label, wherever it stands."""
    return next(fact for section in analysis.sections for fact in section.facts if fact.label == label)
