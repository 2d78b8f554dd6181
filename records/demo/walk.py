"""Walks a batch through the same acts a person uses: set-up check, first piece, samples, last piece, counts."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from inspection.acts.batches import CLOSED_MEANING, Counts, close_batch, open_batch, pieces_tested, scan
from inspection.acts.samples import (
    APPROVED_MEANING,
    MEASURED_MEANING,
    Look,
    conclude_sample,
    countersign_first_piece,
    record_looks,
    record_pull,
    record_reading,
    record_visual,
    start_sample,
)
from inspection.contents import sample_content
from inspection.models import Batch, Sample, SampleKind, SampleState
from inspection.plan import plan_of
from inspection.verdict import Limits, PullMode
from shop.canonical import content_sha256
from shop.criteria import is_cross_section
from shop.events import Signing
from shop.finding import Refused
from shop.jobs import Termination
from shop.people import Person
from shop.sign_on import sign

Clock = Callable[[], datetime]


@dataclass(frozen=True, slots=True)
class Hand:
    """A person with what they hold: badge or user name, and PIN."""

    person: Person
    identifier: str
    secret: str

    def sign(self, meaning: str, at: datetime) -> Signing:
        return sign(identifier=self.identifier, secret=self.secret, meaning=meaning, at=at)


# How far from the nominal the readings of a steady process lie, as a share of half the tolerance. Repeats; no chance is involved.
STEADY = (
    Decimal("0.10"),
    Decimal("-0.20"),
    Decimal("0.00"),
    Decimal("0.30"),
    Decimal("-0.10"),
    Decimal("0.20"),
    Decimal("-0.30"),
    Decimal("0.05"),
)


def steady_values(limits: Limits, start: int) -> Iterator[str]:
    """Plausible readings inside the limits, as a gauge with three decimals would send them."""
    low = limits.low if limits.low is not None else Decimal(0)
    high = limits.high if limits.high is not None else low * 2
    middle = limits.nominal if limits.nominal is not None else (low + high) / 2
    half = min(high - middle, middle - low)
    index = start
    while True:
        yield f"{middle + half * STEADY[index % len(STEADY)]:.3f}"
        index += 1


def measure(sample: Sample, operator: Hand, clock: Clock, *, heights: Sequence[str] | None = None) -> None:
    """Fill a sample with values that conform; `heights` replaces the crimp heights."""
    plan = plan_of(sample)
    for planned in plan.readings:
        values = steady_values(planned.limits, sample.number * 3)
        given = iter(heights) if heights is not None and planned.characteristic == "crimp height" else values
        for piece in range(1, planned.pieces + 1):
            record_reading(
                sample=sample,
                characteristic=planned.characteristic,
                piece=piece,
                text=next(given),
                unit=planned.unit,
                by=operator.person,
                at=clock(),
            )
    for piece in range(1, plan.pulls + 1):
        minimum = plan.pull_minimum_n or Decimal(0)
        force = minimum * (Decimal("1.6") + STEADY[(sample.number + piece) % len(STEADY)] / 2)
        record_pull(
            sample=sample,
            piece=piece,
            text=f"{force:.1f}",
            unit="N",
            mode=PullMode.WIRE_BROKE_AWAY if piece % 2 else PullMode.WIRE_BROKE_AT_CRIMP,
            by=operator.person,
            at=clock(),
        )
    looks = [Look(criterion.code, accepted=True) for criterion in plan.criteria if not is_cross_section(criterion.code)]
    record_looks(sample=sample, looks=looks, by=operator.person, at=clock())
    for criterion in plan.criteria:
        if is_cross_section(criterion.code):
            record_visual(sample=sample, criterion=criterion.code, accepted=True, by=operator.person, at=clock())


def conclude(sample: Sample, operator: Hand, clock: Clock, inspector: Hand | None = None) -> Sample:
    """Sign a measured sample, and have it countersigned where the plan asks."""
    at = clock()
    signing = operator.sign(MEASURED_MEANING, at)
    sample = conclude_sample(sample=sample, by=operator.person, at=at, signing=signing, seen_sha256=content_sha256(sample_content(sample)))
    if sample.state == SampleState.WAITS_FOR_INSPECTOR:
        if inspector is None:
            raise ValueError("this plan asks for an inspector")
        at = clock()
        sample = countersign_first_piece(
            sample=sample,
            by=inspector.person,
            at=at,
            signing=inspector.sign(APPROVED_MEANING, at),
            seen_sha256=content_sha256(sample_content(sample)),
        )
    return sample


def set_up(termination: Termination, codes: Sequence[str], quantity: int, operator: Hand, clock: Clock) -> Batch:
    """Open a batch and scan everything; a refused scan stops the walk."""
    batch = open_batch(termination=termination, quantity=quantity, by=operator.person, at=clock())
    for code in codes:
        answer = scan(batch=batch, code=code, by=operator.person, at=clock())
        if not answer.accepted:
            raise Refused(answer.findings)
        batch = answer.batch
    return batch


def sample_at(
    batch: Batch,
    kind: SampleKind,
    at_count: int,
    operator: Hand,
    clock: Clock,
    inspector: Hand | None = None,
    heights: Sequence[str] | None = None,
) -> Sample:
    sample = start_sample(batch=batch, kind=kind, at_count=at_count, by=operator.person, at=clock())
    measure(sample, operator, clock, heights=heights)
    return conclude(sample, operator, clock, inspector)


def run_batch(
    termination: Termination, codes: Sequence[str], quantity: int, operator: Hand, clock: Clock, inspector: Hand | None = None
) -> Batch:
    """A whole batch without trouble, as many good pieces as asked for: what pull tests destroy is made on top."""
    batch = set_up(termination, codes, quantity, operator, clock)
    first = termination.first_piece_heights
    sample_at(batch, SampleKind.FIRST_PIECE, first, operator, clock, inspector)
    made = quantity + termination.first_piece_pulls + termination.last_piece_pulls
    for count in range(first + termination.sample_every, made, termination.sample_every):
        sample_at(batch, SampleKind.IN_PROCESS, count, operator, clock)
    sample_at(batch, SampleKind.LAST_PIECE, made, operator, clock)
    batch.refresh_from_db()
    destroyed = pieces_tested(batch)
    at = clock()
    return close_batch(
        batch=batch,
        counts=Counts(made=made, good=made - destroyed, scrap=0, destroyed=destroyed, held=0),
        by=operator.person,
        at=at,
        signing=operator.sign(CLOSED_MEANING, at),
    )
