"""Terminations filled with the engine's answer and written: one at a time from the editor, or a whole sheet at once."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import NamedTuple

from django.core.exceptions import ValidationError

from shop.conductor import combined_csa_mm2
from shop.facts import known_of
from shop.finding import Finding, Refused, misfit
from shop.jobs import PlanLine, SetupSheet, Termination, TerminationWire
from shop.materials import Wire
from shop.planning import Plan, copy_targets, plan_of_termination
from shop.specifications import CrimpSpecification
from shop.tools import ToolRow
from shop.validation import findings_from


@dataclass(frozen=True, slots=True)
class Answered:
    """The tool rows and specifications that some plans name, by primary key."""

    rows: Mapping[int, ToolRow]
    specifications: Mapping[int, CrimpSpecification]


def answered(plans: Iterable[Plan]) -> Answered:
    """Read what the plans name: two queries, whatever their number."""
    listed = list(plans)
    rows = ToolRow.objects.in_bulk({plan.row_id for plan in listed if plan.row_id})
    specifications = CrimpSpecification.objects.select_related("document").in_bulk(
        {plan.specification_id for plan in listed if plan.specification_id}
    )
    return Answered(rows, specifications)


def fill(termination: Termination, wires: Sequence[Wire], plan: Plan, known: Answered) -> None:
    """Copy the answer into the termination: area in the barrel, row and setting of the tool, targets of the specification in force."""
    termination.csa_mm2 = combined_csa_mm2([wire.csa_mm2 for wire in wires])
    row = known.rows.get(plan.row_id) if plan.row_id else None
    termination.tool_row = row
    termination.setting = " ".join(p for p in (row.cavity and f"cavity {row.cavity}", row.setting) if p) if row else ""
    if plan.specification_id is not None:  # none where a concession lets the missing one through
        copy_targets(termination, known.specifications[plan.specification_id])


def stated_findings(t: Termination) -> list[Finding]:
    """What the planner stated and no catalogue has to answer for: the press, and the inspection plan."""
    found = []
    if t.press and not t.tool:
        found.append(misfit("termination.press", "press", press=t.press.asset_number))
    if t.first_piece_heights < 1:
        found.append(
            misfit("termination.plan", "first_piece_heights", count=t.first_piece_heights, what="crimp heights on the first piece")
        )
    if t.first_piece_pulls < 1:
        found.append(misfit("termination.plan", "first_piece_pulls", count=t.first_piece_pulls, what="pull tests on the first piece"))
    return found


RELATIONS = ("sheet", "terminal", "tool", "tool_row", "press", "specification")


class Filled(NamedTuple):
    """A termination to be written, with its wires and the lines of its inspection plan."""

    termination: Termination
    wires: Sequence[Wire]
    lines: Sequence[PlanLine] = ()


def write_all(sheet: SetupSheet, filled: Sequence[Filled]) -> list[Termination]:
    """Write the terminations of a new draft in the given order: a fixed number of statements, whatever their number.

    Their values are checked here; the constraints answer from the database, and what is refused there undoes the whole act.
    """
    for position, (termination, _wires, _lines) in enumerate(filled, start=1):
        termination.sheet, termination.position = sheet, position
        try:
            termination.clean_fields(exclude=RELATIONS)  # the rows they name were read in this transaction
        except ValidationError as error:
            raise Refused(findings_from(error)) from error
    written = Termination.objects.bulk_create([one.termination for one in filled], batch_size=200)
    TerminationWire.objects.bulk_create(
        (
            TerminationWire(termination=termination, wire=wire, position=i)
            for termination, one in zip(written, filled, strict=True)
            for i, wire in enumerate(one.wires, start=1)
        ),
        batch_size=500,
    )
    lines = []
    for termination, one in zip(written, filled, strict=True):
        for line in one.lines:
            line.pk, line._state.adding, line.termination = None, True, termination
            lines.append(line)
    PlanLine.objects.bulk_create(lines, batch_size=500)
    return written


def copies_of(sheet: SetupSheet, on: date, *, times: Fraction = Fraction(1)) -> list[Filled]:
    """The terminations of a sheet as new ones, not written yet, with the targets of the specifications in force on that day.

    times: their pieces are multiplied by it and rounded up. What fits no more keeps what the old sheet says, and the checks of the new
    one say so.
    """
    rows = sheet.terminations.select_related("terminal", "tool", "press", "specification__document")
    olds = list(rows.prefetch_related("termination_wires__wire", "plan_lines"))
    known = known_of({old.terminal_id for old in olds}, on)
    wires = [old.ordered_wires() for old in olds]
    lines = [list(old.plan_lines.all()) for old in olds]
    plans = [plan_of_termination(old, own, on, known) for old, own in zip(olds, wires, strict=True)]
    decided = answered(plan for plan in plans if not plan.blocking)
    for new, own, plan in zip(olds, wires, plans, strict=True):
        new.pk, new._state.adding = None, True
        vars(new).pop("_prefetched_objects_cache", None)  # the old one's wires and lines
        new.quantity = math.ceil(new.quantity * times)
        if not plan.blocking:
            fill(new, own, plan, decided)
    return [Filled(*one) for one in zip(olds, wires, lines, strict=True)]


def as_written(sheet: SetupSheet) -> list[Termination]:
    """The terminations of a sheet with everything that a page or the ledger says of them."""
    related = sheet.terminations.select_related("terminal", "tool", "press", "specification__document")
    return list(related.prefetch_related("termination_wires__wire", "plan_lines"))
