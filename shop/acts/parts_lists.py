"""What a planner does with a customer's parts list: take it in, say what its columns mean, correct cells, make the setup sheet."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.conf import settings
from django.db import transaction

from shop.acts.filling import Filled, answered, as_written, fill, stated_findings, write_all
from shop.acts.sheets import draft_sheet
from shop.canonical import sha256_hex
from shop.clock import shop_day
from shop.events import TerminationsPlanned, publish
from shop.finding import Refused, misfit, refuse_if
from shop.jobs import Job, SetupSheet, Termination
from shop.materials import Terminal
from shop.parts_list import COLUMNS, TOOL_OF, UNITS, NotAPartsList, guess_mapping, key_of, mapping_findings, read_table, unit_in
from shop.parts_plan import EndPlan, plan_parts_list
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.planning import Plan
from shop.rechecks import PartsList
from shop.sheet_content import termination_content

CORRECTABLE = (*COLUMNS, *TOOL_OF.values())
LONGEST_CORRECTION = 200


def take_parts_list(*, job: Job, file_name: str, data: bytes, by: Person, at: datetime) -> PartsList:
    """Keep a parts list with the columns guessed from their names. Nothing is planned yet. Raises Refused."""
    refuse_if(permission_findings(by, Deed.DRAFT_SHEET))
    limit = settings.UPLOAD_LIMIT_BYTES
    try:
        if len(data) > limit:
            raise NotAPartsList("it is too large")
        table = read_table(data)
    except NotAPartsList as error:
        raise Refused([misfit("parts.file", "file", reason=error.reason, limit=limit // (1024 * 1024))]) from error
    guessed: dict[str, Any] = dict(guess_mapping(table.header))
    if "length" in guessed:
        guessed["length_unit"] = unit_in(table.header[guessed["length"]])
    return PartsList.objects.create(
        job=job,
        file_name=file_name[-200:],
        sha256=sha256_hex(data),
        header=list(table.header),
        rows=[[row.line, list(row.cells)] for row in table.rows],
        mapping=guessed,
        by=by,
        at=at,
    )


def map_parts_list(*, parts: PartsList, mapping: Mapping[str, int], length_unit: str, by: Person, at: datetime) -> PartsList:
    """Say which column of the file means what. length_unit: of lengths without one, or "" where each cell states its own."""
    refuse_if(permission_findings(by, Deed.DRAFT_SHEET))
    with transaction.atomic():
        parts = _open(parts)
        findings = mapping_findings(mapping, parts.header)
        if length_unit and length_unit not in UNITS:
            findings.append(misfit("data.unknown", "length_unit", thing="unit", name=length_unit))
        refuse_if(findings)
        parts.mapping = {**mapping, "length_unit": length_unit}
        parts.save(update_fields=["mapping"])
    return parts


def correct_parts_list(
    *, parts: PartsList, row: int, changes: Mapping[str, str], by: Person, at: datetime, everywhere: bool = False
) -> PartsList:
    """Let other texts stand in for cells of one row; the file's own stay readable beside them.

    changes: our column, or "tool_a" and "tool_b" for the tool of an end -> text. everywhere: also in each row that now reads the same in
    that column, as where one part number is misspelt throughout; lead numbers are never changed everywhere.
    """
    refuse_if(permission_findings(by, Deed.DRAFT_SHEET))
    with transaction.atomic():
        parts = _open(parts)
        for column, text in changes.items():
            if not 0 <= row < len(parts.rows) or column not in CORRECTABLE:
                raise Refused([misfit("parts.cell.where", "", place=key_of(row, column))])
            if len(text) > LONGEST_CORRECTION:
                raise Refused([misfit("parts.cell.long", column, limit=LONGEST_CORRECTION)])
            before = _reads(parts, row, column)
            rows = [row]
            if everywhere and column in COLUMNS and column != "lead":
                rows = [i for i in range(len(parts.rows)) if _reads(parts, i, column) == before]
            for i in rows:
                _correct(parts, i, column, " ".join(text.split()))
        parts.save(update_fields=["corrections"])
    return parts


def _from_file(parts: PartsList, row: int, column: str) -> str:
    return str(parts.rows[row][1][parts.mapping[column]]) if column in parts.mapping and column in COLUMNS else ""


def _reads(parts: PartsList, row: int, column: str) -> str:
    return str(parts.corrections.get(key_of(row, column), _from_file(parts, row, column)))


def _correct(parts: PartsList, row: int, column: str, text: str) -> None:
    if text == _from_file(parts, row, column):
        parts.corrections.pop(key_of(row, column), None)  # what the file says is no correction
    else:
        parts.corrections[key_of(row, column)] = text


def sheet_from_parts_list(*, parts: PartsList, by: Person, at: datetime) -> SetupSheet:
    """Make the setup sheet: every lead end of the list as a termination of a new draft. All of it, or nothing while a misfit remains."""
    refuse_if(permission_findings(by, Deed.DRAFT_SHEET))
    with transaction.atomic():
        parts = _open(parts)
        refuse_if(mapping_findings({name: parts.mapping[name] for name in COLUMNS if name in parts.mapping}, parts.header))
        plan = plan_parts_list(parts, shop_day(at))
        if plan.broken:
            raise Refused([misfit("parts.open", "", bad=len(plan.broken), rows=len(plan.leads))])
        if not plan.ends:
            raise Refused([misfit("parts.empty")])
        sheet = draft_sheet(job=parts.job, by=by, at=at)
        known = answered(_decided(end)[1] for end in plan.ends)
        filled = []
        for end in plan.ends:
            terminal, answer = _decided(end)
            termination = Termination(
                sheet=sheet,
                lead=end.end.lead,
                end=end.end.end_name,
                circuit=end.end.circuit,
                terminal=terminal,
                tool=end.tool,
                quantity=end.end.quantity * parts.job.quantity,
                wire_length_mm=end.end.length_mm,
            )
            fill(termination, end.wires, answer, known)
            refuse_if(stated_findings(termination))
            filled.append(Filled(termination, end.wires))
        write_all(sheet, filled)
        parts.sheet = sheet
        parts.save(update_fields=["sheet"])
        source = {"parts_list": parts.file_name, "sha256": parts.sha256, "corrections": _corrections(parts)}
        content = {"source": source, "terminations": [termination_content(t) for t in as_written(sheet)]}
        publish(TerminationsPlanned(by=by, at=at, subject=("setup sheet", sheet.pk, str(sheet)), content=content))
    return sheet


def _decided(end: EndPlan) -> tuple[Terminal, Plan]:
    """The terminal and the answer of an end without findings."""
    if end.terminal is None or end.plan is None:
        raise ValueError(f"{end.end.lead} {end.end.end_name} was not planned, though nothing was found wrong with it")
    return end.terminal, end.plan


def _corrections(parts: PartsList) -> list[dict[str, Any]]:
    """What the planner made of the file, line by line, for the ledger."""
    made = []
    for key, text in sorted(parts.corrections.items(), key=lambda item: (int(item[0].partition("/")[0]), item[0])):
        row, _slash, column = key.partition("/")
        made.append({"line": parts.rows[int(row)][0], "column": column, "file": _from_file(parts, int(row), column), "read_as": text})
    return made


def _open(parts: PartsList) -> PartsList:
    """The list, locked. Raises Refused where a sheet was made of it: its corrections are then part of the sheet's history."""
    parts = PartsList.objects.select_for_update(of=("self",)).select_related("job", "sheet").get(pk=parts.pk)
    if parts.sheet is not None:
        raise Refused([misfit("parts.made", "", sheet=str(parts.sheet))])
    return parts
