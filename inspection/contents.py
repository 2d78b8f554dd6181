"""What a batch and its samples say, as plain data: shown on the screen, covered by signatures, printed on documents."""

from __future__ import annotations

from typing import Any

from inspection.models import Batch, PullTest, Reading, Sample
from inspection.set_up import current_scans
from inspection.verdict import Outcome, overall
from shop.characteristics import MEASURED, SUFFIX
from shop.sheet_content import N_PLACES, PLACES, limits
from shop.templatetags.shop import figure


def set_up_content(batch: Batch) -> dict[str, Any]:
    """What the batch runs on now, by slot."""
    shown = {}
    for slot, scan in current_scans(batch).items():
        entry: dict[str, Any] = {"code": scan.code, "by": scan.by.name, "at": scan.at}
        if scan.calibration:
            entry["calibration"] = {"certificate": scan.calibration.certificate, "due_on": scan.calibration.due_on}
        if scan.qualification:
            entry["qualification"] = {"evidence": scan.qualification.evidence, "expires_on": scan.qualification.expires_on}
        shown[slot] = entry
    return {"batch": batch.number, "set_up": batch.setup_number, "slots": shown}


def sample_content(sample: Sample) -> dict[str, Any]:
    """Every value of a sample that stands, with its limits, gauge and outcome."""
    t = sample.batch.termination
    readings = sample.readings.standing().select_related("gauge", "calibration", "by").order_by("characteristic", "piece")
    pulls = sample.pull_tests.standing().select_related("gauge", "calibration", "by").order_by("piece")
    visuals = sample.visual_findings.standing().select_related("by").order_by("pk")
    return {
        "batch": sample.batch.number,
        "sheet": t.sheet.number,
        "revision": t.sheet.revision,
        "lead": t.lead,
        "end": t.end,
        "sample": sample.number,
        "sample_kind": sample.kind,
        "set_up": sample.setup_number,
        "at_count": sample.at_count,
        "readings": [
            {
                "characteristic": r.characteristic,
                "piece": r.piece,
                "value": r.text,
                "unit": r.unit,
                **reading_limits(r),
                "outcome": r.outcome,
                **_rule(r),
                "gauge": r.gauge.asset_number,
                **_source(r),
                "certificate": r.calibration.certificate,
                "by": r.by.name,
                "at": r.at,
            }
            for r in readings
        ],
        "pull_tests": [
            {
                "piece": p.piece,
                "value": p.text,
                "unit": p.unit,
                "minimum_n": figure(p.minimum_n, N_PLACES),
                "mode": p.mode,
                "outcome": p.outcome,
                **_rule(p),
                "gauge": p.gauge.asset_number,
                **_source(p),
                "certificate": p.calibration.certificate,
                "by": p.by.name,
                "at": p.at,
            }
            for p in pulls
        ],
        "visual": [{"criterion": v.criterion, "accepted": v.accepted, "note": v.note, "by": v.by.name, "at": v.at} for v in visuals],
        "outcome": sample_outcome(sample).value,
    }


def _rule(row: Reading | PullTest) -> dict[str, Any]:
    """The decision rule where uncertainty moved the limits; simple acceptance goes without saying in the signed content."""
    if row.decision_rule == "simple acceptance":
        return {}
    return {"decision_rule": row.decision_rule, "guard_band": figure(row.guard_band)}


def _source(row: Reading | PullTest) -> dict[str, Any]:
    """How the value came in. Rows from before it was asked say nothing, so that what was signed over them stays the same."""
    return {"source": row.source} if row.source else {}


def reading_limits(r: Reading) -> dict[str, Any]:
    """The limits of a reading under a name that carries their unit: "limits_mm", "limits_mohm", "limits_pct"."""
    quantity = MEASURED[r.characteristic].quantity
    return {f"limits_{SUFFIX[quantity]}": limits(r.low, r.high, PLACES[quantity])}


def sample_outcome(sample: Sample) -> Outcome:
    """The verdict over every standing value: each single one has to conform."""
    outcomes = [Outcome(o) for o in sample.readings.standing().values_list("outcome", flat=True)]
    outcomes += [Outcome(o) for o in sample.pull_tests.standing().values_list("outcome", flat=True)]
    outcomes += [
        Outcome.CONFORMS if accepted else Outcome.DOES_NOT_CONFORM
        for accepted in sample.visual_findings.standing().values_list("accepted", flat=True)
    ]
    return overall(outcomes)


def counts_content(batch: Batch) -> dict[str, Any]:
    return {
        "batch": batch.number,
        "made": batch.made,
        "good": batch.good,
        "scrap": batch.scrap,
        "destroyed": batch.destroyed,
        "held": batch.held,
        "lots": [
            {"lot": loaded.lot.lot_number, "from_count": loaded.from_count, "to_count": loaded.to_count}
            for loaded in batch.loaded_lots.select_related("wire_lot", "terminal_lot")
        ],
    }
