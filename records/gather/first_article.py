"""The first-article report of a batch: every characteristic of the termination with its result, in the sense of SAE AS9102.

One report covers one termination: crimping is the special process here, and its first piece is the article. A report on a whole harness
refers to these by number.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from inspection.acts.batches import concessions_used
from inspection.defect_kinds import kind_of_criterion, kind_of_reading
from inspection.models import Batch, Nonconformance, Sample
from inspection.occurrences import numbers_of
from inspection.plan import plan_of
from records.content import CharacteristicContent, FirstArticleRecord, LowerPart, Outcome, SourceContent
from records.gather.batch import batch_parts, decision_rules, first_sample, load_batch, loaded_lots_of
from records.gather.common import (
    OUTCOME_WORDS,
    claims_of,
    concession_contents,
    day,
    documents_of,
    job_content,
    shop_content,
    signatures_of,
    targets_of,
)
from records.models import Signature
from shop.characteristics import Characteristic
from shop.clock import shop_day
from shop.jobs import Termination

NOT_APPLICABLE = (
    ("serial number", "A crimped lead is not serialised: batch and lot number stand in its place."),
    ("designator (key, critical, safety)", "The setup sheet carries none; where the drawing does, it is written in by hand."),
    ("code of the process, approval of the source by the customer", "The customer assigns and gives them; they come with the order."),
    (
        "functional test, its procedure and report",
        "Continuity and voltage are tested on the finished harness.",
    ),
    ("customer approval", "The customer signs for it, on this document or on their own."),
)
"""Fields of SAE AS9102 that a report on one termination leaves empty, and why."""


def _signed(sample: Sample, nth: int) -> str:
    """Printed name and day of the nth signature on the piece, from 0; "" where there is none."""
    rows = Signature.objects.filter(subject_kind="sample", subject_id=sample.pk).order_by("entry_id")[nth : nth + 1]
    return ", ".join(f"{s.printed_name}, {day(shop_day(s.signed_at))}" for s in rows)


def worst(outcomes: list[str]) -> Outcome:
    for word in ("does not conform", "cannot be decided"):
        if word in outcomes:
            return OUTCOME_WORDS["does not conform" if word == "does not conform" else "undecided"]
    return "conforms" if outcomes else "waiting"


def _requirement(low: str, nominal: str, high: str, unit: str) -> str:
    if low and high:
        return f"{low} to {high} {unit}" + (f", nominal {nominal}" if nominal else "")
    return f"at least {low} {unit}" if low else f"at most {high} {unit}"


def _recorded(recorded: Mapping[str, str], kind: str, outcomes: Iterable[object]) -> str:
    """Number of the nonconformance, of what does not conform on this piece; one of a later piece is no answer to this one."""
    return recorded.get(kind, "") if any(outcome != "conforms" for outcome in outcomes) else ""


def characteristics_of(sample: Sample, t: Termination, records: Sequence[Nonconformance] = ()) -> list[CharacteristicContent]:
    """Each target and each visual criterion has its own row; every value measured stands in it. records: nonconformances of the batch."""
    rows: list[CharacteristicContent] = []
    recorded: dict[str, str] = {}
    for record in records:  # by the kind of defect: a pull force has one for each way a test ends
        kind = kind_of_reading("pull force") if record.defect_kind.startswith("pull.") else record.defect_kind
        recorded[kind] = f"{recorded[kind]}, {record.number}" if kind in recorded else record.number
    spec = t.specification
    where = f"{spec.document}, {spec}" if spec else ""
    readings = list(sample.readings.standing().select_related("gauge").order_by("characteristic", "piece"))
    pulls = list(sample.pull_tests.standing().select_related("gauge").order_by("piece"))
    visuals = {v.criterion: v for v in sample.visual_findings.standing()}
    measured = {"pull force", *Characteristic.values}
    for target in targets_of(t):
        if target["characteristic"] not in measured:
            continue  # stated on the sheet, judged with the visual criteria
        if target["characteristic"] == "pull force":
            results = [f"{p.text} {p.unit}, {p.mode}" for p in pulls]
            outcomes = [OUTCOME_WORDS[p.outcome] for p in pulls]
            gauges = [p.gauge.asset_number for p in pulls]
        else:
            own = [r for r in readings if r.characteristic == target["characteristic"]]
            results = [f"{r.text} {r.unit}" for r in own]
            outcomes = [OUTCOME_WORDS[r.outcome] for r in own]
            gauges = [r.gauge.asset_number for r in own]
        rows.append(
            {
                "number": str(len(rows) + 1),
                "where": where,
                "designator": "",
                "requirement": f"{target['characteristic']} "
                + _requirement(target["low"], target["nominal"], target["high"], target["unit"]),
                "unit": target["unit"],
                "results": results,
                "outcome": worst([str(o) for o in outcomes]),
                "gauge": ", ".join(dict.fromkeys(gauges)),
                "tooling": t.tool.asset_number if t.tool else "",
                "nonconformance": _recorded(recorded, kind_of_reading(target["characteristic"]), outcomes),
                "comment": f"minimum from {target['source']}" if target["characteristic"] == "pull force" else "",
            }
        )
    for criterion in plan_of(sample).criteria:
        finding = visuals.get(criterion.code)
        rows.append(
            {
                "number": str(len(rows) + 1),
                "where": "visual criteria",
                "designator": "",
                "requirement": criterion.accept,
                "unit": "",
                "results": [] if finding is None else ["accept" if finding.accepted else "reject"],
                "outcome": "waiting" if finding is None else "conforms" if finding.accepted else "does not conform",
                "gauge": "eye",
                "tooling": "",
                "nonconformance": "" if finding is None or finding.accepted else recorded.get(kind_of_criterion(criterion.code), ""),
                "comment": finding.note if finding else "",
            }
        )
    return rows


def _sources(batch: Batch) -> list[SourceContent]:
    blank = {"process_code": "", "source_approved": "", "test_procedure": "", "test_report": "", "comment": ""}
    rows: list[SourceContent] = []
    for loaded in batch.loaded_lots.select_related("wire_lot__wire", "terminal_lot__terminal"):
        lot = loaded.lot
        rows.append(
            {
                **blank,  # type: ignore[typeddict-item]  # plain strings for the fields nobody states here
                "name": f"{lot.part.part_number}, lot {lot.lot_number}",
                "specification": lot.part.description,
                "source": lot.supplier,
                "certificate": lot.certificate,
            }
        )
    spec = batch.termination.specification
    rows.append(
        {
            **blank,  # type: ignore[typeddict-item]
            "name": "crimping",
            "specification": f"{spec}; {spec.document}" if spec else "",
            "source": "in house",
            "certificate": "",
            "test_procedure": "pull test as planned on the sheet",
            "test_report": batch.number,
        }
    )
    return rows


def first_article_record(batch: Batch) -> FirstArticleRecord:
    """The report on the accepted first piece of a batch. The caller has checked that there is one."""
    batch = load_batch(batch)
    t = batch.termination
    job = t.sheet.job
    sample = first_sample(batch)
    if sample is None:
        raise LookupError(f"{batch.number} has no accepted first piece")
    sample.batch = batch
    records = numbers_of([batch.pk]).get(batch.pk, [])
    characteristics = characteristics_of(sample, t, records)
    bad = [c["number"] for c in characteristics if c["outcome"] != "conforms"]
    lower: list[LowerPart] = [
        {
            "part_number": lot["part_number"],
            "part_name": lot["kind"],
            "origin": "purchased",
            "lot": lot["lot"],
            "report_number": lot["certificate"],
        }
        for lot in loaded_lots_of(batch)
    ]
    return {
        "kind": "first article",
        "version": "2",
        "number": f"{batch.number} sample {sample.number}",
        "status": "complete" if not bad else "not complete",
        "shop": shop_content(),
        "job": job_content(job),
        "article": {
            "part_number": job.part_number,
            "part_name": f"{job.part_name}: lead {t.lead}, end {t.end}",
            "serial_number": "",
            "report_number": f"{batch.number}-{sample.number}",
            "part_revision": job.drawing_revision,
            "drawing": job.drawing,
            "drawing_revision": job.drawing_revision,
            "further_changes": "",
            "process_reference": str(t.sheet),
            "organisation": shop_content()["name"],
            "supplier_code": "",
            "purchase_order": job.purchase_order,
            "level": "detail part (termination)",
            "extent": "full" if sample.kind == "first piece" else "partial",
            "baseline": "" if sample.kind == "first piece" else f"first piece of batch {batch.number}",
            "reason": "" if sample.kind == "first piece" else "set-up changed during the batch",
            "holds_nonconformance": "yes" if bad else "no",
            "verified": _signed(sample, 0),
            "reviewed": _signed(sample, 1),
            "customer_approval": "",
            "comments": "; ".join(f"nonconformance {record.number}, {record.state}" for record in records),
        },
        "parts": batch_parts(batch),
        "lower_parts": lower,
        "sources": _sources(batch),
        "characteristics": characteristics,
        "not_applicable": [{"field": field, "why": why} for field, why in NOT_APPLICABLE],
        "decision_rules": decision_rules([sample]),
        "conclusion": (
            f"All {len(characteristics)} characteristics conform."
            if not bad
            else f"Characteristics {', '.join(bad)} do not conform or are open: the report is not complete."
        ),
        "documents": documents_of([t]),
        "concessions": concession_contents(concessions_used(batch)),
        "signatures": signatures_of(("setup sheet", [t.sheet_id]), ("sample", [sample.pk])) + claims_of([sample.pk]),
    }
