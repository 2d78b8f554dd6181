"""What several records have in common, read from the database and turned into text."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from functools import cache, reduce
from operator import or_

from django.conf import settings
from django.db.models import Q

from inspection.models import ClaimedSignature, Hold, SetupScan
from inspection.set_up import findings_from_text
from records.content import (
    ConcessionContent,
    FindingContent,
    GoverningDocument,
    HoldContent,
    JobContent,
    Outcome,
    PartContent,
    PartName,
    PartState,
    ShopContent,
    SignatureContent,
    TargetContent,
    TerminalContent,
    ToolContent,
    WireContent,
)
from records.models import Signature
from shop.composed import AnyOf, Composed
from shop.concessions import Concession
from shop.finding import Finding, Verdict
from shop.jobs import Job, Termination
from shop.materials import Terminal, Wire
from shop.sheet_content import MM_PLACES, N_PLACES
from shop.specifications import Document
from shop.templatetags.shop import figure, moment
from shop.wording import RULES, worded

OUTCOME_WORDS: dict[str, Outcome] = {
    "conforms": "conforms",
    "does not conform": "does not conform",
    "undecided": "cannot be decided",
    Verdict.FITS.value: "conforms",
    Verdict.MISFIT.value: "does not conform",
    Verdict.UNDECIDABLE.value: "cannot be decided",
    Verdict.CONCEDED.value: "conceded",
}


def day(value: date | None) -> str:
    return value.isoformat() if value else ""


def span(low: object, high: object) -> str:
    """ "0.5 to 1.5", or "" where nothing is stated."""
    return f"{low} to {high}" if low != "" and high != "" else str(low or high)


def shop_content() -> ShopContent:
    return {"name": settings.SHOP_NAME, "address": settings.SHOP_ADDRESS}


def job_content(job: Job) -> JobContent:
    return {
        "number": job.number,
        "customer": job.customer.name,
        "part_number": job.part_number,
        "part_name": job.part_name,
        "drawing": job.drawing,
        "drawing_revision": job.drawing_revision,
        "purchase_order": job.purchase_order,
        "quantity": str(job.quantity),
        "due": day(job.due_on),
    }


def wire_content(wire: Wire) -> WireContent:
    return {
        "part_number": wire.part_number,
        "description": wire.description,
        "size": wire.size,
        "csa_mm2": figure(wire.csa_mm2, 2),
        "insulation_od_mm": figure(wire.insulation_od_mm, MM_PLACES),
    }


def terminal_content(terminal: Terminal) -> TerminalContent:
    return {
        "part_number": terminal.part_number,
        "description": terminal.description,
        "conductor_range_mm2": span(figure(terminal.csa_min_mm2, 2), figure(terminal.csa_max_mm2, 2)),
        "insulation_range_mm": span(figure(terminal.od_min_mm, MM_PLACES), figure(terminal.od_max_mm, MM_PLACES)),
    }


def tool_content(t: Termination) -> ToolContent:
    tool, row = t.tool, t.tool_row
    return {
        "asset_number": tool.asset_number if tool else "",
        "kind": tool.kind if tool else "",
        "description": tool.description if tool else "",
        "cavity": row.cavity if row else "",
        "setting": row.setting if row else t.setting,
    }


def targets_of(t: Termination) -> list[TargetContent]:
    """Every target of a termination in the order in which it is measured, with the document it came from."""
    source = ""
    if t.specification:
        source = f"{t.specification} ({t.specification.document})"
    lengths = [
        ("strip length", t.strip_length_min_mm, t.strip_length_nominal_mm, t.strip_length_max_mm),
        ("crimp height", t.crimp_height_min_mm, t.crimp_height_nominal_mm, t.crimp_height_max_mm),
        ("crimp width", t.crimp_width_min_mm, t.crimp_width_nominal_mm, t.crimp_width_max_mm),
        ("insulation crimp height", t.insulation_height_min_mm, t.insulation_height_nominal_mm, t.insulation_height_max_mm),
        ("bell mouth", t.bell_mouth_min_mm, None, t.bell_mouth_max_mm),
        ("conductor brush", t.brush_min_mm, None, t.brush_max_mm),
        ("cut-off tab", None, None, t.cut_off_tab_max_mm),
    ]
    targets: list[TargetContent] = [
        {
            "characteristic": name,
            "unit": "mm",
            "low": figure(low, MM_PLACES),
            "nominal": figure(nominal, MM_PLACES),
            "high": figure(high, MM_PLACES),
            "source": source,
        }
        for name, low, nominal, high in lengths
        if low is not None or high is not None
    ]
    for name, unit, least, most in (
        ("resistance", "mΩ", None, t.resistance_max_mohm),
        ("compaction", "%", t.compaction_min_pct, t.compaction_max_pct),
    ):
        if least is not None or most is not None:
            targets.append(
                {"characteristic": name, "unit": unit, "low": figure(least), "nominal": "", "high": figure(most), "source": source}
            )
    if t.pull_force_min_n is not None:
        targets.append(
            {
                "characteristic": "pull force",
                "unit": "N",
                "low": figure(t.pull_force_min_n, N_PLACES),
                "nominal": "",
                "high": "",
                "source": t.pull_force_source or source,
            }
        )
    return targets


def document_content(document: Document) -> GoverningDocument:
    return {
        "number": document.number,
        "revision": document.revision,
        "title": document.title,
        "kind": document.kind,
        "in_force_from": day(document.effective_on),
    }


def documents_of(terminations: Iterable[Termination]) -> list[GoverningDocument]:
    documents = {t.specification.document_id: t.specification.document for t in terminations if t.specification}
    return [document_content(d) for d in sorted(documents.values(), key=str)]


def finding_content(finding: Finding) -> FindingContent:
    words = worded(finding)
    return {"rule": finding.rule, "title": words.title, "outcome": OUTCOME_WORDS[finding.verdict], "sentence": words.sentence}


def signatures_of(*subjects: tuple[str, Iterable[int]]) -> list[SignatureContent]:
    """Signatures given on these things, in the order of the ledger."""
    ids = {f"ids{n}": list(ids) for n, (_kind, ids) in enumerate(subjects)}
    return signature_contents(_signed(tuple(kind for kind, _ids in subjects))(**ids))


@cache
def _signed(kinds: tuple[str, ...]) -> Composed[Signature]:
    """The signatures on things of some kinds, whose keys are told as ids0, ids1 and so on."""
    wanted = reduce(or_, (Q(AnyOf("subject_id", f"ids{n}"), subject_kind=kind) for n, kind in enumerate(kinds)))
    return Composed(lambda: Signature.objects.filter(wanted).order_by("entry_id"))


def claims_of(samples: Iterable[int]) -> list[SignatureContent]:
    """Signatures on these samples that were given without the network and not confirmed: a document says so."""
    rows = ClaimedSignature.objects.filter(sample__in=list(samples)).exclude(answer__confirmed=True).select_related("person", "answer")
    return [
        {
            "printed_name": claim.person.name,
            "meaning": f"{claim.meaning}; given without network, {'disowned' if hasattr(claim, 'answer') else 'not confirmed yet'}",
            "at": moment(claim.made_at),
            "content_sha256": claim.content_sha256,
            "entry": "–",
        }
        for claim in rows
    ]


def signature_contents(signatures: Iterable[Signature]) -> list[SignatureContent]:
    """Signatures as documents print them."""
    return [
        {
            "printed_name": s.printed_name,
            # For whom a deputy signed stands behind the means by which they identified themselves.
            "meaning": "; ".join([s.meaning, *s.how.split("; ")[1:]]),
            "at": moment(s.signed_at),
            "content_sha256": s.content_sha256,
            "entry": str(s.entry_id),
        }
        for s in signatures
    ]


def part(name: PartName, state: PartState, evidence: Iterable[str]) -> PartContent:
    return {"part": name, "state": state, "evidence": list(dict.fromkeys(line for line in evidence if line))}


def hold_content(hold: Hold) -> HoldContent:
    count = hold.suspect_quantity
    shown = f"{count} pieces, after piece {hold.suspect_from} to {hold.suspect_to}"
    decision = hold.decision
    if hold.decided_at and (hold.scrapped or hold.kept_held):
        decision = f"{decision}; {hold.scrapped} scrapped, {hold.kept_held} kept on hold"
    return {
        "reason": hold.reason,
        "suspect": shown,
        "raised_by": hold.raised_by.name,
        "raised_at": moment(hold.raised_at),
        "decision": decision,
        "decision_reason": hold.decision_reason,
        "decided_by": hold.decided_by.name if hold.decided_by else "",
        "decided_at": moment(hold.decided_at),
    }


def why_of(scan: SetupScan) -> str:
    """The rule's answer to a scan in words: what blocked it, or what it was accepted for."""
    findings = findings_from_text(scan.findings)
    blocking = [worded(f).what for f in findings if f.blocks]
    let_through = [f"{worded(f).what} Conceded: {f.compared['concession']}." for f in findings if f.verdict is Verdict.CONCEDED]
    return " ".join(blocking or let_through) if blocking or let_through else " ".join(w for w in (worded(f).what for f in findings) if w)


_CONCESSIONS = Composed(lambda: Concession.objects.filter(AnyOf("number", "numbers")).select_related("granted_by").order_by("number"))


def concession_contents(numbers: Iterable[str]) -> list[ConcessionContent]:
    """The concessions of these numbers as documents print them."""
    wanted = list(numbers)
    rows = _CONCESSIONS(numbers=wanted) if wanted else []
    return [
        {
            "number": c.number,
            "rule": c.rule,
            "title": str(RULES[c.rule].title) if c.rule in RULES else c.rule,
            "reason": c.reason,
            "limit": ", ".join(
                part
                for part in (
                    f"{c.quantity_limit} pieces" if c.quantity_limit is not None else "",
                    f"until {day(c.expires_on)}" if c.expires_on else "",
                )
                if part
            ),
            "granted_by": c.granted_by.name,
            "granted_at": moment(c.granted_at),
        }
        for c in rows
    ]
