"""What a setup sheet says, as plain data: this is what reviewers see, what the signature covers and what the document prints."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from shop.characteristics import Quantity
from shop.criteria import title_of
from shop.jobs import SetupSheet, Termination
from shop.plan_lines import plan_lines
from shop.templatetags.shop import figure

MM_PLACES = 2  # heights and lengths are written with two decimals at least
N_PLACES = 1
PLACES: Mapping[Quantity, int] = {"length": MM_PLACES, "force": N_PLACES, "resistance": 2, "share": 0}
"""Decimals at least, by quantity."""


def limits(low: Decimal | None, high: Decimal | None, places: int, nominal: Decimal | None = None) -> dict[str, str] | None:
    """Limits as text, or None where there are none."""
    if low is None and high is None:
        return None
    shown = {"low": figure(low, places), "high": figure(high, places)}
    return shown | ({"nominal": figure(nominal, places)} if nominal is not None else {})


def termination_content(t: Termination) -> dict[str, Any]:
    spec = t.specification
    content: dict[str, Any] = {
        "position": t.position,
        "lead": t.lead,
        "end": t.end,
        "circuit": t.circuit,
        "quantity": t.quantity,
        "wires": [
            {
                "part_number": w.part_number,
                "description": w.description,
                "size": w.size,
                "csa_mm2": figure(w.csa_mm2, 2),
                "od_mm": figure(w.insulation_od_mm, MM_PLACES),
                "colour": w.colour,
            }
            for w in t.ordered_wires()
        ],
        "csa_mm2": figure(t.csa_mm2, 2),
        "wire_length_mm": figure(t.wire_length_mm),
        "terminal": {
            "part_number": t.terminal.part_number,
            "description": t.terminal.description,
            "barrel": t.terminal.barrel,
            "has_support": t.terminal.has_support,
        },
        "tool": t.tool and {"asset_number": t.tool.asset_number, "kind": t.tool.kind, "setting": t.setting},
        "specification": spec
        and {
            "number": spec.number,
            "revision": spec.revision,
            "document": spec.document.number,
            "document_revision": spec.document.revision,
        },
        "targets": {
            "crimp_height_mm": limits(t.crimp_height_min_mm, t.crimp_height_max_mm, MM_PLACES, t.crimp_height_nominal_mm),
            "crimp_width_mm": limits(t.crimp_width_min_mm, t.crimp_width_max_mm, MM_PLACES, t.crimp_width_nominal_mm),
            "insulation_height_mm": limits(
                t.insulation_height_min_mm, t.insulation_height_max_mm, MM_PLACES, t.insulation_height_nominal_mm
            ),
            "strip_length_mm": limits(t.strip_length_min_mm, t.strip_length_max_mm, MM_PLACES, t.strip_length_nominal_mm),
            "pull_force_min_n": figure(t.pull_force_min_n, N_PLACES),
            "pull_force_source": t.pull_force_source,
        },
        "plan": {
            "first_piece_heights": t.first_piece_heights,
            "first_piece_pulls": t.first_piece_pulls,
            "sample_every": t.sample_every,
            "sample_size": t.sample_size,
            "last_piece_pulls": t.last_piece_pulls,
            "inspector_signs": t.inspector_signs,
        },
    }
    for key, stated in _stated_since(t).items():
        if isinstance(stated, dict):
            content[key] |= stated
        else:
            content[key] = stated
    return content


def _stated_since(t: Termination) -> dict[str, Any]:
    """What a sheet may also state, each key only where it does: a sheet signed before these existed still hashes as it was signed."""
    targets: dict[str, Any] = {
        "bell_mouth_mm": limits(t.bell_mouth_min_mm, t.bell_mouth_max_mm, MM_PLACES),
        "brush_mm": limits(t.brush_min_mm, t.brush_max_mm, MM_PLACES),
        "cut_off_tab_max_mm": figure(t.cut_off_tab_max_mm, MM_PLACES),
        "resistance_max_mohm": figure(t.resistance_max_mohm, MM_PLACES),
        "compaction_pct": limits(t.compaction_min_pct, t.compaction_max_pct, 0),
    }
    plan: dict[str, Any] = {
        "sample_every_minutes": t.sample_every_minutes,
        "cross_sections": t.cross_sections,
        "rework_allowed": t.rework_allowed,
        "lines": _own_lines(t),
        "criteria_left_out": [title_of(code) for code in t.criteria_left_out],
        "criteria_added": list(t.criteria_added),
    }
    stated: dict[str, Any] = {
        "targets": {name: value for name, value in targets.items() if value},
        "plan": {name: value for name, value in plan.items() if value},
    }
    if t.press is not None:
        stated["press"] = t.press.asset_number
    if t.required_current_a is not None:
        stated["required_current_a"] = figure(t.required_current_a)
    if t.dipped_end:
        stated["dipped_end"] = True
    return stated


def _own_lines(t: Termination) -> list[dict[str, Any]]:
    """The plan of every characteristic, where the planner changed the usual one for any of them."""
    if not t.pk or not t.plan_lines.all():
        return []
    return [
        {
            "characteristic": line.characteristic,
            "gauge": line.gauge_kind,
            "first_piece": line.first,
            "in_process": line.sample,
            "last_piece": line.last,
            "every_nth_sample": line.every_nth,
            "chart": line.chart,
        }
        for line in plan_lines(t)
    ]


def sheet_content(sheet: SetupSheet) -> dict[str, Any]:
    """The whole sheet. Statuses and dates of release stay out: they are what the signature adds."""
    job = sheet.job
    terminations = sheet.terminations.select_related("terminal", "tool", "press", "specification__document").prefetch_related(
        "termination_wires__wire", "plan_lines"
    )
    return {
        "sheet": sheet.number,
        "revision": sheet.revision,
        "change_reason": sheet.change_reason,
        "author": sheet.author.name,
        "job": {
            "number": job.number,
            "customer": job.customer.name,
            "part_number": job.part_number,
            "part_name": job.part_name,
            "drawing": job.drawing,
            "drawing_revision": job.drawing_revision,
            "quantity": job.quantity,
        },
        "terminations": [termination_content(t) for t in terminations],
    }
