"""The record of a released setup sheet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from records.content import PartContent, PartState, PlanLine, SetUpContent, SetupSheetRecord, TerminationContent
from records.gather.common import (
    concession_contents,
    documents_of,
    finding_content,
    job_content,
    part,
    shop_content,
    signatures_of,
    targets_of,
    terminal_content,
    tool_content,
    wire_content,
)
from shop.acts.concessions import concession_numbers
from shop.clock import shop_day
from shop.criteria import title_of
from shop.jobs import SetupSheet, SheetStatus, Termination
from shop.plan_lines import plan_lines
from shop.planning import sheet_checks
from shop.set_ups import key_of, set_ups
from shop.sheet_content import MM_PLACES, termination_content
from shop.templatetags.shop import figure


def plan_of(t: Termination) -> list[PlanLine]:
    """The inspection plan as an operator reads it."""
    lines = plan_lines(t)
    full = _counted((line.characteristic, line.first, 1) for line in lines)
    if t.cross_sections:
        full += f", {t.cross_sections} cross-section" + ("s" if t.cross_sections > 1 else "")
    some = [*t.criteria_added, *(f"without: {title_of(code)}" for code in t.criteria_left_out)]
    full += f" ({'; '.join(some)})" if some else ""
    often = f"Every {t.sample_every} pieces" + (f" and every {t.sample_every_minutes} minutes" if t.sample_every_minutes else "")
    both = "operator and inspector" if t.inspector_signs else "operator"
    return [
        {"when": "First piece, and after each change of tool, reel or spool", "what": full, "signs": both},
        {"when": often, "what": _counted((line.characteristic, line.sample, line.every_nth) for line in lines), "signs": ""},
        {
            "when": "Last piece",
            "what": _counted((line.characteristic, line.last, 1) for line in lines),
            "signs": "operator",
        },
    ]


def _counted(asked: Iterable[tuple[str, int, int]]) -> str:
    """ "5 × crimp height, 3 × pull force, visual criteria"."""
    parts = [f"{count} × {name}" + (f" in every {nth}. sample" if nth > 1 else "") for name, count, nth in asked if count]
    return ", ".join([*parts, "visual criteria"])


def setup_sheet_record(sheet: SetupSheet) -> SetupSheetRecord:
    """The sheet as it stands. The findings are those of the day of release: a released sheet keeps the answer it was released with."""
    on = shop_day(sheet.released_at or sheet.drafted_at)
    checks = sheet_checks(sheet, on)
    terminations: list[TerminationContent] = []
    for check in checks:
        t = check.termination
        terminations.append(
            {
                "position": str(t.position),
                "lead": t.lead,
                "end": t.end,
                "circuit": t.circuit,
                "quantity": str(t.quantity),
                "wire_length_mm": figure(t.wire_length_mm),
                "wires": [wire_content(w) for w in t.ordered_wires()],
                "csa_mm2": figure(t.csa_mm2, 2),
                "terminal": terminal_content(t.terminal),
                "tool": tool_content(t),
                "specification": str(t.specification or ""),
                "targets": targets_of(t),
                "plan": plan_of(t),
                "findings": [finding_content(f) for f in check.findings],
            }
        )
    return {
        "kind": "setup sheet",
        "version": "1",
        "number": sheet.number,
        "revision": str(sheet.revision),
        # A sheet that was superseded later was released all the same: the record is of the release.
        "status": "released" if sheet.status in (SheetStatus.RELEASED, SheetStatus.SUPERSEDED) else sheet.status,
        "supersedes": f"{sheet.supersedes.number} rev {sheet.supersedes.revision}" if sheet.supersedes else "",
        "change_reason": sheet.change_reason,
        "shop": shop_content(),
        "job": job_content(sheet.job),
        "parts": _parts(sheet, [c.termination for c in checks], proven=not any(c.blocking for c in checks)),
        "set_ups": set_up_contents([c.termination for c in checks]),
        "terminations": terminations,
        "documents": documents_of(c.termination for c in checks),
        "concessions": concession_contents(concession_numbers(f for c in checks for f in c.findings)),
        "signatures": signatures_of(("setup sheet", [sheet.pk])),
    }


def set_up_contents(terminations: Sequence[Termination]) -> list[SetUpContent]:
    """The set-ups that serve these terminations. What has no tool yet belongs to none."""
    return [
        {
            "number": str(one.number),
            "tool": one.key.tool,
            "setting": one.key.setting,
            "press": one.key.press,
            "terminal": one.key.terminal,
            "wires": " + ".join(one.key.wires),
            "specification": one.key.specification,
            "leads": [f"{terminations[place].lead}/{terminations[place].end}" for place in one.members],
            "quantity": str(sum(terminations[place].quantity for place in one.members)),
        }
        for one in set_ups([key_of(termination_content(t)) for t in terminations])
    ]


def _tool_line(t: Termination) -> str:
    if t.tool is None:
        return ""
    setting = f", {t.setting}" if t.setting else ""
    return f"{t.tool.asset_number}, {t.tool.kind}{setting}" + (f", in press {t.press.asset_number}" if t.press else "")


def _parts(sheet: SetupSheet, terminations: list[Termination], *, proven: bool) -> list[PartContent]:
    """The plan's six parts: people and inspection are planned here and proven at the press."""
    fits: PartState = "proven" if proven else "failed"
    wires = [w for t in terminations for w in t.ordered_wires()]
    return [
        part(
            "people",
            "proven" if sheet.released_by else "open",
            [
                f"Drafted by {sheet.author.name}",
                f"Released by {sheet.released_by.name}" if sheet.released_by else "",
            ],
        ),
        part("wire", fits, [f"{w.part_number}, {w.size}, Ø {figure(w.insulation_od_mm, MM_PLACES)} mm" for w in wires]),
        part("terminal", fits, [f"{t.terminal.part_number}, {t.terminal.kind}" for t in terminations]),
        part(
            "tool",
            fits,
            [_tool_line(t) for t in terminations],
        ),
        part(
            "documents",
            fits,
            [f"{t.specification}; {t.specification.document}" for t in terminations if t.specification],
        ),
        part(
            "inspection",
            "open",
            ["First piece, in process and last piece as planned per termination; proven batch by batch."],
        ),
    ]
