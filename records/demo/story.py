"""The main job of the demo shop, done through the same acts a person uses: plan, make, prove."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from django.db import transaction

from inspection.acts.batches import CLOSED_MEANING, Counts, close_batch, pieces_tested
from inspection.acts.holds import DECIDED_MEANING, decide_hold
from inspection.acts.samples import conclude_sample, start_sample
from inspection.models import Batch, HoldDecision, SampleKind, SampleState
from records.acts.lots import BUILT_MEANING, SHIPPED_MEANING, build_lot, ship
from records.demo.shop import demo_person
from records.demo.walk import Hand, measure, run_batch, sample_at, set_up
from records.models import Shipment
from shop.acts.saved_searches import save_search
from shop.acts.sheets import (
    RELEASED_MEANING,
    TerminationInput,
    draft_sheet,
    open_job,
    plan_termination,
    release_sheet,
    submit_sheet,
)
from shop.canonical import content_sha256
from shop.clock import now
from shop.jobs import Customer, Job, SetupSheet, Termination
from shop.materials import Terminal, Wire
from shop.people import Person
from shop.sheet_content import sheet_content
from shop.tools import Tool

Tell = Callable[[str], None]
JOB, SHIPMENT, OPEN_JOB, REVIEW_JOB = "J-1001", "SH-26-001", "J-1002", "J-1003"
HARNESSES = 50


def hand(username: str) -> Hand:
    demo = demo_person(username)
    return Hand(Person.objects.get(username=username), demo.badge, demo.pin)


def _input(lead: str, end: str, circuit: str, terminal: str, wires: list[str], tool: str, **more: object) -> TerminationInput:
    return TerminationInput(
        lead=lead,
        end=end,
        circuit=circuit,
        terminal=Terminal.objects.get(part_number=terminal),
        wires=[Wire.objects.get(part_number=part) for part in wires],
        tool=Tool.objects.get(asset_number=tool),
        **more,  # type: ignore[arg-type]  # the plan's numbers, named as in TerminationInput
    )


def _sheet(job: Job, inputs: list[TerminationInput], planner: Hand, tell: Tell) -> SetupSheet:
    sheet = draft_sheet(job=job, by=planner.person, at=now())
    for stated in inputs:
        plan_termination(sheet=sheet, stated=stated, by=planner.person, at=now())
        wires = " + ".join(w.part_number for w in stated.wires)
        tell(f"plan: {sheet.number} lead {stated.lead} end {stated.end}: {wires} in {stated.terminal} on {stated.tool}, all rules fit")
    return submit_sheet(sheet=sheet, by=planner.person, at=now())


def _release(sheet: SetupSheet, approver: Hand, tell: Tell) -> SetupSheet:
    at = now()
    signing = approver.sign(RELEASED_MEANING, at)
    sheet = release_sheet(sheet=sheet, by=approver.person, at=at, signing=signing, seen_sha256=content_sha256(sheet_content(sheet)))
    tell(f"plan: {sheet.number} rev {sheet.revision} released by {approver.person.name}")
    return sheet


def _pump_job(planner: Hand) -> Job:
    return open_job(
        number=JOB,
        customer=Customer.objects.get(code="BRACK"),
        part_number="BP-7730",
        part_name="Pump motor harness",
        drawing="BP-7730-D",
        drawing_revision="F",
        purchase_order="PO-55812",
        quantity=HARNESSES,
        by=planner.person,
        at=now(),
    )


def run_main_job(tell: Tell) -> Shipment:
    """Plan, make, prove: from a new job to a shipped lot. Done already: nothing happens. All of it or nothing."""
    done = Shipment.objects.filter(number=SHIPMENT).first()
    if done is not None:
        tell(f"main job: shipment {SHIPMENT} is there already")
        return done
    planner, approver, operator = hand("mira"), hand("teo"), hand("jonas")
    inspector, quality = hand("ines"), hand("quirin")
    with transaction.atomic():
        job = _pump_job(planner)
        tell(f"plan: job {job.number} for {job.customer.name}, {job.quantity} harnesses {job.part_number}")
        plan = {"quantity": HARNESSES, "sample_every": 25, "wire_length_mm": Decimal(640)}
        sheet = _sheet(
            job,
            [
                _input("1", "A", "M+", "RX-48", ["W075-RD"], "AP-102", inspector_signs=True, **plan),
                _input("1", "B", "M+", "RG-M5", ["W075-RD"], "HT-201", **plan),
                _input("2", "A", "M-", "RX-63", ["W050-BK", "W075-BU"], "AP-103", **plan),
            ],
            planner,
            tell,
        )
        sheet = _release(sheet, approver, tell)
        terminations = {(t.lead, t.end): t for t in sheet.terminations.all()}
        batches = [
            _batch_with_a_hold(terminations["1", "A"], operator, inspector, quality, tell),
            run_batch(
                terminations["1", "B"], ["HT-201", "TL-26-1118", "WL-26-0411", "MIC-11", "CAL-21", "PUL-31"], HARNESSES, operator, now
            ),
            run_batch(
                terminations["2", "A"],
                ["AP-103", "TL-26-1112", "WL-26-0420", "WL-26-0412", "MIC-11", "CAL-21", "PUL-31"],
                HARNESSES,
                operator,
                now,
            ),
        ]
        for batch in batches:
            tell(
                f"make: batch {batch.number} closed: {batch.made} made, {batch.good} good, {batch.scrap} scrap, {batch.destroyed} destroyed"
            )
        at = now()
        lot = build_lot(
            number=f"{JOB}-L1",
            job=job,
            quantity=HARNESSES,
            batches={batch.pk: HARNESSES for batch in batches},
            by=planner.person,
            at=at,
            signing=planner.sign(BUILT_MEANING, at),
        )
        tell(f"prove: harness lot {lot.number} built, {lot.quantity} harnesses")
        at = now()
        shipment = ship(
            number=SHIPMENT,
            customer=job.customer,
            lots={lot.pk: HARNESSES},
            by=quality.person,
            at=at,
            signing=quality.sign(SHIPPED_MEANING, at),
            delivery_note="DN-3381",
        )
        tell(f"prove: shipment {shipment.number} to {shipment.customer.name}")
    return shipment


def _batch_with_a_hold(termination: Termination, operator: Hand, inspector: Hand, quality: Hand, tell: Tell) -> Batch:
    """A run in which an in-process crimp height is too high: hold, decision, new first piece, and on."""
    codes = ["AP-102", "TL-26-1107", "WL-26-0411", "MIC-11", "CAL-21", "PUL-31"]
    batch = set_up(termination, codes, HARNESSES, operator, now)
    tell(f"make: batch {batch.number} set up, six parts proven")
    sample_at(batch, SampleKind.FIRST_PIECE, 5, operator, now, inspector)
    tell(f"make: batch {batch.number} first piece approved by {inspector.person.name}")
    bad = start_sample(batch=batch, kind=SampleKind.IN_PROCESS, at_count=30, by=operator.person, at=now())
    measure(bad, operator, now, heights=["1.352"])
    bad = conclude_sample(sample=bad, by=operator.person, at=now())
    if bad.state != SampleState.REJECTED:
        raise AssertionError("1.352 mm is outside 1.26 to 1.34 mm")
    hold = batch.holds.get()
    tell(f"make: batch {batch.number} on hold, {hold.suspect_quantity} suspect pieces: {hold.reason}")
    at = now()
    decide_hold(
        hold=hold,
        decision=HoldDecision.RESUME,
        reason="Insulation caught under the crimper; cleaned. Suspect pieces scrapped.",
        scrapped=hold.suspect_quantity,
        kept_held=0,
        by=quality.person,
        at=at,
        signing=quality.sign(DECIDED_MEANING, at),
    )
    sample_at(batch, SampleKind.AFTER_CHANGE, 35, operator, now, inspector)
    sample_at(batch, SampleKind.IN_PROCESS, 60, operator, now)
    sample_at(batch, SampleKind.LAST_PIECE, 82, operator, now)
    batch.refresh_from_db()
    destroyed, scrap = pieces_tested(batch), hold.suspect_quantity
    at = now()
    return close_batch(
        batch=batch,
        counts=Counts(made=82, good=82 - destroyed - scrap, scrap=scrap, destroyed=destroyed, held=0),
        by=operator.person,
        at=at,
        signing=operator.sign(CLOSED_MEANING, at),
    )


def prepare_open_work(tell: Tell) -> None:
    """Work for whoever tries the demo: a released sheet to run, and one that waits for its release."""
    if Job.objects.filter(number=REVIEW_JOB).exists():
        return
    planner, approver = hand("mira"), hand("teo")
    with transaction.atomic():
        lift = Customer.objects.get(code="OSTMAR")
        common = {"drawing_revision": "B", "by": planner.person, "customer": lift}
        job = open_job(
            number=OPEN_JOB,
            part_number="LS-0412",
            part_name="Door switch harness",
            drawing="LS-0412-D",
            quantity=200,
            at=now(),
            **common,  # type: ignore[arg-type]
        )
        plan = {"quantity": 200, "sample_every": 50, "wire_length_mm": Decimal(380)}
        sheet = _sheet(
            job,
            [
                _input("1", "A", "SW1", "RX-48", ["W075-BU"], "AP-102", inspector_signs=True, **plan),
                _input("1", "B", "SW1", "RG-M5", ["W075-BU"], "HT-201", **plan),
                _input("2", "A", "SW2", "PN-15", ["W050-BK"], "AP-101", **plan),
            ],
            planner,
            tell,
        )
        _release(sheet, approver, tell)
        job = open_job(
            number=REVIEW_JOB,
            part_number="LS-0420",
            part_name="Lamp harness",
            drawing="LS-0420-D",
            quantity=80,
            at=now(),
            **common,  # type: ignore[arg-type]
        )
        _sheet(job, [_input("1", "A", "LP1", "RX-48", ["W100-GN"], "AP-102", quantity=80, wire_length_mm=Decimal(210))], planner, tell)
        tell(f"plan: a sheet of job {REVIEW_JOB} waits for its release")
        keep_questions()


def keep_questions() -> None:
    """What quality shows to everybody, and what the auditor keeps for a next visit."""
    quality, auditor = hand("quirin").person, hand("audun").person
    batches = f"/prove/?number={JOB}&kind=batch"
    save_search(name=f"Batches of job {JOB}", address=batches, is_shared=True, by=quality, at=now())
    save_search(name="Batches closed", address="/prove/ledger/?kind=batch.closed", is_shared=False, by=auditor, at=now())


def planned_and_released(job: Job, terminal: str, wires: list[str], tool: str, *, sample_every: int, tell: Tell) -> Termination:
    """A sheet of one termination, in force."""
    plan = {"quantity": job.quantity, "sample_every": sample_every, "wire_length_mm": Decimal(500)}
    stated = _input("1", "A", "CL", terminal, wires, tool, inspector_signs=True, **plan)
    sheet = _release(_sheet(job, [stated], hand("mira"), tell), hand("teo"), tell)
    return sheet.terminations.get()


def main_batch() -> Batch:
    """The batch with the hold, whose documents show the most."""
    return Batch.objects.filter(termination__sheet__job__number=JOB, termination__lead="1", termination__end="A").order_by("pk")[0]
