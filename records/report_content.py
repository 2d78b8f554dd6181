"""What certificates, calibration status lists and audit trails say: dictionaries as `records.content` describes them, every value text."""

from __future__ import annotations

from typing import Literal, TypedDict

from records.content import (
    ConcessionContent,
    GoverningDocument,
    LedgerState,
    Outcome,
    PartContent,
    PartName,
    PartState,
    ShopContent,
    SignatureContent,
)


class CertifiedLot(TypedDict):
    """Harnesses of one lot in the shipment, and the order they belong to."""

    lot: str
    job: str
    purchase_order: str
    part_number: str
    part_name: str
    drawing: str
    drawing_revision: str
    quantity: str


class InspectedBatch(TypedDict):
    """What was inspected of one batch, in figures. answer: of all its samples together."""

    lot: str
    batch: str
    lead: str
    end: str
    sheet: str
    specification: str
    samples: str
    measured: str
    pulled: str
    criteria: str
    answer: str


class CertifiedMaterial(TypedDict):
    kind: str
    lot: str
    part_number: str
    supplier: str
    certificate: str


class CertificateContent(TypedDict):
    """What quality signs: the certificate without its signature."""

    kind: Literal["certificate"]
    version: Literal["1"]
    number: str
    shop: ShopContent
    customer: str
    delivery_note: str
    shipped_at: str
    shipped_by: str
    parts: list[PartContent]
    lots: list[CertifiedLot]
    inspected: list[InspectedBatch]
    materials: list[CertifiedMaterial]
    documents: list[GoverningDocument]
    concessions: list[ConcessionContent]
    statement: str


class CertificateRecord(CertificateContent):
    """A certificate of conformity: what was signed, and who signed it."""

    signatures: list[SignatureContent]


class GaugeStatus(TypedDict):
    """One gauge on the day asked about. standing: its state in a word; outcome: the shape that goes with it. Of a gauge never
    calibrated everything about a calibration is ""."""

    asset_number: str
    kind: str
    description: str
    state: str
    resolution: str
    calibrated: str
    result: str
    due: str
    days_left: str
    certificate: str
    laboratory: str
    uncertainty: str
    standing: str
    outcome: Outcome


class CalibrationStatusRecord(TypedDict):
    """Every gauge, or those of one kind, as of a day. counts: how many stand how, in words."""

    kind: Literal["calibration status"]
    version: Literal["1"]
    number: str
    as_of: str
    only: str
    asked_by: str
    asked_at: str
    shop: ShopContent
    counts: list[str]
    gauges: list[GaugeStatus]
    signatures: list[SignatureContent]


class TrailEntry(TypedDict):
    """One ledger entry in words. signed_as: meaning of the signature it carries, "" where it carries none."""

    entry: str
    at: str
    by: str
    about: str
    what: str
    changes: list[str]
    reason: str
    signed_as: str


class AuditTrailRecord(TypedDict):
    """Everything that happened to one thing. since, until, only_by: what was asked for, "" where everything was."""

    kind: Literal["audit trail"]
    version: Literal["1"]
    number: str
    subject_kind: str
    subject: str
    since: str
    until: str
    only_by: str
    asked_by: str
    asked_at: str
    shop: ShopContent
    entries: list[TrailEntry]
    ledger: LedgerState
    signatures: list[SignatureContent]


class DisposedContent(TypedDict):
    """One file that was disposed of. size: in bytes."""

    record: str
    kept_as: str
    made: str
    due: str
    size: str
    sha256: str


class DisposalRecord(TypedDict):
    """A certificate of disposal: what went, under which rule, by whose signature."""

    kind: Literal["disposal"]
    version: Literal["1"]
    number: str
    shop: ShopContent
    records: str
    rule: str
    rule_says: str
    rule_reason: str
    rule_set: str
    note: str
    disposed_by: str
    disposed_at: str
    files: list[DisposedContent]
    signatures: list[SignatureContent]


class NamedPart(TypedDict):
    """One of the six parts of a termination, and whether the cause names it. word: "failed", "not named"."""

    part: PartName
    state: PartState
    word: str
    evidence: list[str]


class AboutLine(TypedDict):
    what: str
    name: str


class CorrectionLine(TypedDict):
    """What became of the pieces, as it was decided there. quantity: pieces or harnesses, "" where none are counted."""

    what: str
    of: str
    quantity: str
    why: str
    by: str
    at: str


class CauseLine(TypedDict):
    parts: str
    occurred: str
    undetected: str
    because: list[str]
    by: str
    at: str


class ActionLine(TypedDict):
    """result: "open", "overdue", "done" or "dropped". ended_*: "" while it is open."""

    number: str
    kind: str
    what: str
    responsible: str
    due: str
    result: str
    outcome: Outcome
    evidence: str
    ended_by: str
    ended_at: str


class ProofLine(TypedDict):
    """A measure stated beforehand and what came of it. figures: how many pieces were looked at; seen: what who verified it wrote."""

    measure: str
    stated_by: str
    stated_at: str
    counted_from: str
    result: str
    outcome: Outcome
    figures: str
    seen: str
    verified_by: str
    verified_at: str


class ClosingLine(TypedDict):
    conclusion: str
    without_action_because: str
    by: str
    at: str
    reopened_because: str
    reopened_by: str
    reopened_at: str


class NonconformanceRecord(TypedDict):
    """A nonconformance from finding to proof. The newest cause and measure come last and stand. Who was at the press is not in it."""

    kind: Literal["nonconformance"]
    version: Literal["1"]
    number: str
    shop: ShopContent
    state: str
    standing: str
    outcome: Outcome
    what: str
    requirement: str
    defect: str
    quantity: str
    origin: str
    found_at: str
    customer: str
    customer_reference: str
    opened_by: str
    opened_at: str
    about: list[AboutLine]
    parts: list[NamedPart]
    corrections: list[CorrectionLine]
    causes: list[CauseLine]
    actions: list[ActionLine]
    proofs: list[ProofLine]
    closings: list[ClosingLine]
    signatures: list[SignatureContent]
