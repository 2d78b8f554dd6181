"""What the demo shop has studied: a micrometer, a crimp window, and a long run whose chart is in force. Every figure is invented."""

from __future__ import annotations

import random
from decimal import Decimal

from django.db import transaction

from inspection.acts.acceptance import (
    INSPECTED_MEANING,
    LotInput,
    SchemeInput,
    history_of,
    inspect_lot,
    open_scheme,
    plan_of,
    plan_sha256,
    standing_of,
)
from inspection.acts.control import FROZEN_MEANING, freeze_limits, propose_limits
from inspection.acts.studies import SIGNED_MEANING, analysis_of, open_study, opened, record_values, sign_study, study_content
from inspection.models import Batch, SampleKind, Study
from inspection.streams import Stream
from records.demo.story import Tell, hand, planned_and_released
from records.demo.walk import Hand, sample_at, set_up
from shop.acts.sheets import open_job
from shop.canonical import content_sha256
from shop.clock import now
from shop.jobs import ChartKind, Customer
from shop.materials import Terminal, TerminalLot
from shop.tools import Gauge, Tool

LONG_JOB = "J-1004"
SAMPLES = 26


def prepare_studies(tell: Tell) -> None:
    """Two signed studies, an open one, and a long run with control limits in force. Done already: nothing happens."""
    if Study.objects.exists():
        return
    numbers = random.Random(26)  # noqa: S311  # demo figures that are the same every time
    with transaction.atomic():
        quality, planner, inspector = hand("quirin"), hand("mira"), hand("ines")
        _repeatability(numbers, quality, inspector, tell)
        _crimp_window(numbers, planner, quality, tell)
        _one_part(numbers, inspector, tell)
        _long_run(numbers, planner, tell)
        _sampling(quality, inspector, tell)


def _sign(study: Study, conclusion: str, quality: Hand) -> None:
    read, at = opened(Study.objects.select_related("gauge", "tool", "terminal").get(pk=study.pk)), now()
    seen = content_sha256(study_content(read, analysis_of(read)))
    signing = quality.sign(SIGNED_MEANING, at)
    sign_study(study=study, conclusion=conclusion, by=quality.person, at=at, signing=signing, seen_sha256=seen)


def _repeatability(numbers: random.Random, quality: Hand, inspector: Hand, tell: Tell) -> None:
    people = {"Ines": 0.0002, "Jonas": -0.0004, "Lea": 0.0005}
    study = open_study(
        kind="repeatability",
        title="MIC-11 on crimp heights of RX-48",
        gauge=Gauge.objects.get(asset_number="MIC-11"),
        set_up={
            "appraisers": "\n".join(people), "parts": "10", "trials": "3", "method": "anova", "alpha": "0.05", "tolerance": "0.08",
            "sigmas": "6",
        },
        by=quality.person,
        at=now(),
    )  # fmt: skip
    parts = [1.30 + numbers.gauss(0, 0.012) for _ in range(10)]
    values = {
        f"{name}|{part}|{trial}": f"{parts[part - 1] + bias + numbers.gauss(0, 0.0009):.3f}"
        for name, bias in people.items()
        for part in range(1, 11)
        for trial in range(1, 4)
    }
    record_values(study=study, values=values, by=inspector.person, at=now())
    _sign(study, "Fit for crimp heights with a tolerance of 0.08 mm.", quality)
    tell(f"studies: {study.number} repeatability of MIC-11 signed")


def _crimp_window(numbers: random.Random, planner: Hand, quality: Hand, tell: Tell) -> None:
    study = open_study(
        kind="crimp-window",
        title="RX-48 on 0.75 mm² with AP-102",
        tool=Tool.objects.get(asset_number="AP-102"),
        terminal=Terminal.objects.get(part_number="RX-48"),
        set_up={
            "wire": "W075-RD, lot WL-26-0411", "pieces": "35", "force_min": "85", "resistance_max": "0.50", "degree": "2",
            "share": "99", "confidence": "95", "step": "0.01",
        },
        by=planner.person,
        at=now(),
    )  # fmt: skip
    values: dict[str, str] = {}
    for index in range(35):
        height = 1.16 + 0.05 * (index // 5) + numbers.gauss(0, 0.004)
        force, resistance = 142 - 2100 * (height - 1.28) ** 2 + numbers.gauss(0, 3), 0.30 + 0.65 * (height - 1.16) + numbers.gauss(0, 0.006)
        row = {"height": f"{height:.3f}", "force": f"{force:.1f}", "resistance": f"{resistance:.3f}"}
        values |= {f"{index + 1}|{name}": text for name, text in row.items()}
    record_values(study=study, values=values, by=planner.person, at=now())
    _sign(study, "The limits of CS-148-08 lie inside the window.", quality)
    tell(f"studies: {study.number} crimp window signed")


def _one_part(numbers: random.Random, inspector: Hand, tell: Tell) -> None:
    study = open_study(
        kind="one-part",
        title="CAL-21 on a setting ring",
        gauge=Gauge.objects.get(asset_number="CAL-21"),
        set_up={"reference": "2.00", "tolerance": "0.15", "readings": "50", "fraction": "0.2", "sigmas": "6", "required": "1.33"},
        by=inspector.person,
        at=now(),
    )
    values = {str(n): f"{2.0 + numbers.choice((-0.01, 0.0, 0.0, 0.0, 0.01)):.2f}" for n in range(1, 31)}
    record_values(study=study, values=values, by=inspector.person, at=now())
    tell(f"studies: {study.number} is open, 30 of 50 readings")


def _long_run(numbers: random.Random, planner: Hand, tell: Tell) -> None:
    """A long run with a sample every 50 pieces; its limits are frozen and it goes on."""
    operator, inspector, quality = hand("jonas"), hand("ines"), hand("quirin")
    job = open_job(
        number=LONG_JOB,
        customer=Customer.objects.get(code="OSTMAR"),
        part_number="LS-0430",
        part_name="Landing call harness",
        drawing="LS-0430-D",
        drawing_revision="A",
        quantity=2400,
        by=planner.person,
        at=now(),
    )
    termination = planned_and_released(job, "RX-63", ["W050-BK", "W075-BU"], "AP-103", sample_every=50, tell=tell)
    codes = ["AP-103", "TL-26-1112", "WL-26-0420", "WL-26-0412", "MIC-11", "CAL-21", "PUL-31"]
    batch = set_up(termination, codes, 2400, operator, now)
    sample_at(batch, SampleKind.FIRST_PIECE, 5, operator, now, inspector)
    nominal = termination.crimp_height_nominal_mm or Decimal(0)
    for number in range(1, SAMPLES + 1):
        height = f"{float(nominal) + numbers.gauss(0.002, 0.006):.3f}"
        sample_at(Batch.objects.get(pk=batch.pk), SampleKind.IN_PROCESS, 5 + 50 * number, operator, now, heights=[height])
    if termination.tool is None:
        raise AssertionError("a released termination has a tool")
    stream = Stream(termination.tool, termination.terminal, termination.csa_mm2, "crimp height")
    proposal, at = propose_limits(stream, ChartKind.INDIVIDUALS.value, ()), now()
    freeze_limits(
        proposal=proposal,
        reason="The first samples of the long run, no signal among them.",
        by=quality.person,
        at=at,
        signing=quality.sign(FROZEN_MEANING, at),
        seen_sha256=content_sha256(proposal.content),
    )
    tell(f"studies: control limits of AP-103 frozen from {len(proposal.drawn.samples)} samples; batch {batch.number} runs on")


def _sampling(quality: Hand, inspector: Hand, tell: Tell) -> None:
    """How spools of RX-48 are accepted, with the two that came in."""
    stated = SchemeInput(
        name="Spools of RX-48, plating and burrs",
        thing="terminal lots",
        basis="table",
        criterion="plating flaked, bent, or burred",
        reason="Incoming inspection plan IP-07.",
        terminal=Terminal.objects.get(part_number="RX-48"),
        level="II",
        aql=Decimal("0.65"),
    )
    scheme = open_scheme(stated=stated, by=quality.person, at=now())
    for number, found in (("TL-26-1107", 0), ("TL-26-1131", 1)):
        lot = TerminalLot.objects.get(lot_number=number)
        plan = plan_of(scheme, 8000, standing_of(scheme, history_of(scheme)).state)
        at = now()
        inspect_lot(
            scheme=scheme,
            lot=lot,
            stated=LotInput(8000, found, "one tab bent" if found else ""),
            by=inspector.person,
            at=at,
            signing=inspector.sign(INSPECTED_MEANING, at),
            seen_sha256=plan_sha256(scheme, lot, 8000, plan),
        )
    tell(f"studies: {scheme.number} in force, two spools accepted by sampling")
