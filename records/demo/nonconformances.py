"""Two nonconformances of the demo shop: one from the hold of the main job, closed with its proof; one open with an overdue action."""

from __future__ import annotations

from datetime import timedelta

from django.db import transaction

from inspection.acts.nonconformances import (
    CLOSED_MEANING,
    VERIFIED_MEANING,
    ActionInput,
    CauseInput,
    MeasureInput,
    OpenInput,
    VerifyInput,
    close_nonconformance,
    end_action,
    open_nonconformance,
    state_action,
    state_cause,
    state_measure,
    verify_effect,
)
from inspection.models import Hold, Nonconformance
from inspection.nonconformance_from import from_hold
from records.demo.story import Tell, hand, main_batch, planned_and_released
from records.demo.walk import Hand, run_batch
from shop.acts.sheets import open_job
from shop.clock import now, shop_day
from shop.jobs import Customer
from shop.materials import Terminal
from shop.tools import Tool

PROOF_JOB = "J-1005"


def prepare_nonconformances(tell: Tell) -> None:
    """Done already: nothing happens."""
    if Nonconformance.objects.exists():
        return
    with transaction.atomic():
        _overdue(hand("quirin"), hand("teo"), tell)
        _closed(hand("ines"), hand("quirin"), hand("kari"), tell)


def _overdue(quality: Hand, planner: Hand, tell: Tell) -> None:
    """From a customer's letter of three weeks ago: the action that was to be done last week is not."""
    at = now() - timedelta(days=21)
    day = shop_day(at)
    stated = OpenInput(
        what="Two harnesses of the spring delivery arrived with the label of the other door side.",
        requirement="Drawing LS-0412-D, note 4: label by door side",
        defect_kind="other.paper",
        origin="customer complaint",
        found_at="customer",
        quantity=2,
        customer=Customer.objects.get(code="OSTMAR"),
        customer_reference="OM-Q-118",
    )
    record = open_nonconformance(stated=stated, by=quality.person, at=at)
    cause = CauseInput(
        parts=("documents",),
        occurred="Both labels lay on one table when the two door sides were packed in one shift.",
        undetected="The packing check counts harnesses and does not read labels.",
        because=("both jobs were packed at once", "the travellers came in one folder", "nothing says that door sides are packed apart"),
    )
    state_cause(record=record, stated=cause, by=quality.person, at=at)
    for kind, what, days in (
        ("occurrence", "Travellers of left and right in folders of their own, packed one after the other.", 7),
        ("detection", "Scan of label against traveller before a box is closed.", 15),
    ):
        action = ActionInput(kind, what, planner.person, day + timedelta(days=days))
        row = state_action(record=record, stated=action, by=quality.person, at=at)
        if row.number == 1:
            evidence = "Folders in use since the second week, shown at the packing table."
            end_action(action=row, result="done", evidence=evidence, by=planner.person, at=at + timedelta(days=5))
    measure = MeasureInput("text", text="No complaint about labels in the next three deliveries to the customer.")
    state_measure(record=record, stated=measure, by=quality.person, at=at)
    tell(f"prove: {record.number} is open, an action of {planner.person.name} is overdue")


def _closed(inspector: Hand, quality: Hand, crib: Hand, tell: Tell) -> None:
    hold = Hold.objects.select_related("sample", "batch__tool", "batch__termination__sheet", "batch__termination__terminal").get(
        batch=main_batch()
    )
    begun, links = from_hold(hold)
    record = open_nonconformance(stated=begun, links=links, by=inspector.person, at=now())
    cause = CauseInput(
        parts=("tool",),
        occurred="Insulation caught under the crimper and lifted it.",
        undetected="The sample before was 25 pieces back: the interval let a part of the run through.",
        because=(
            "strips of insulation collect behind the anvil",
            "they are blown out at the service only",
            "the service is due by count, not by wire",
        ),
    )
    state_cause(record=record, stated=cause, by=inspector.person, at=now())
    for kind, what, evidence in (
        ("occurrence", "Blow out behind the anvil at every change of spool; a line on the tool's card.", "Card of AP-102, line 6."),
        ("spread", "The same line on the cards of AP-101 and AP-103.", "Cards of AP-101 and AP-103, line 6."),
    ):
        action = ActionInput(kind, what, crib.person, shop_day(now()) + timedelta(days=3))
        row = state_action(record=record, stated=action, by=quality.person, at=now())
        end_action(action=row, result="done", evidence=evidence, by=crib.person, at=now())
    measure = MeasureInput("pieces", scope="tool", target=50)
    state_measure(record=record, stated=measure, by=quality.person, at=now())
    _run_that_proves(hold, tell)
    at = now()
    verify_effect(
        record=record,
        stated=VerifyInput("Every sample of the run within limits; nothing behind the anvil afterwards."),
        by=inspector.person,
        at=at,
        signing=inspector.sign(VERIFIED_MEANING, at),
    )
    at = now()
    close_nonconformance(
        record=record,
        conclusion="The card is followed; the heights stay where they were set.",
        by=quality.person,
        at=at,
        signing=quality.sign(CLOSED_MEANING, at),
    )
    tell(f"prove: {record.number} closed, from the hold on {hold.batch.number} to the proof that it worked")


def _run_that_proves(hold: Hold, tell: Tell) -> None:
    """A run on the same tool after the actions."""
    planner, operator, inspector = hand("mira"), hand("jonas"), hand("ines")
    job = open_job(
        number=PROOF_JOB,
        customer=Customer.objects.get(code="BRACK"),
        part_number="BP-7731",
        part_name="Pump sensor lead",
        drawing="BP-7731-D",
        drawing_revision="A",
        quantity=60,
        by=planner.person,
        at=now(),
    )
    tool, terminal = Tool.objects.get(asset_number="AP-102"), Terminal.objects.get(part_number="RX-48")
    termination = planned_and_released(job, terminal.part_number, ["W075-RD"], tool.asset_number, sample_every=25, tell=tell)
    run_batch(termination, ["AP-102", "TL-26-1107", "WL-26-0411", "MIC-11", "CAL-21", "PUL-31"], 60, operator, now, inspector)
