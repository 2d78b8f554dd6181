"""What a record says: the shape of the dictionaries that are signed, printed and attached to a document as canonical JSON.

Every value is text, exactly as a person reads it: numbers keep their digits ("1.80"), times carry their zone ("2026-03-02 14:05 CET"),
and what is absent is "". So the printed page, the attachment and the hash can never tell three different stories. Units stand in the name
of a field or in a `unit` beside the value. Lists keep the order in which they are to be read.

The acts build these dictionaries from the database; `templates/documents/` prints them.
"""

from __future__ import annotations

from typing import Literal, NotRequired, TypedDict

PART_NAMES = ("people", "wire", "terminal", "tool", "documents", "inspection")

Kind = Literal[
    "setup sheet",
    "first article",
    "batch record",
    "trace report",
    "study report",
    "certificate",
    "calibration status",
    "audit trail",
]
PartName = Literal["people", "wire", "terminal", "tool", "documents", "inspection"]
PartState = Literal["proven", "open", "failed", "undecided", "conceded"]
Outcome = Literal["conforms", "does not conform", "cannot be decided", "conceded", "waiting"]
Answer = Literal["accepted", "rejected", "waiting"]


# ---- shared by all kinds


class ShopContent(TypedDict):
    """Who keeps the record."""

    name: str
    address: str


class PartContent(TypedDict):
    """One of the six parts. A record carries all six, in the order of `PART_NAMES`.

    evidence: short lines, each naming one thing that proves the part (a person with a qualification, a lot with its certificate).
    """

    part: PartName
    state: PartState
    evidence: list[str]


class SignatureContent(TypedDict):
    """A person's signature. content_sha256: the hash of exactly what was on the screen when it was given; entry: ledger number."""

    printed_name: str
    meaning: str
    at: str
    content_sha256: str
    entry: str


class JobContent(TypedDict):
    """What was ordered, and for whom."""

    number: str
    customer: str
    part_number: str
    part_name: str
    drawing: str
    drawing_revision: str
    purchase_order: str
    quantity: str
    due: str


class GoverningDocument(TypedDict):
    """A controlled document that the record rests on."""

    number: str
    revision: str
    title: str
    kind: str
    in_force_from: str


class FindingContent(TypedDict):
    """What a rule answered. rule: its code, explained in the handbook; outcome: its verdict in a word; sentence: with the numbers."""

    rule: str
    title: str
    outcome: Outcome
    sentence: str


class ConcessionContent(TypedDict):
    """A rule that quality let through: which, why, how far."""

    number: str
    rule: str
    title: str
    reason: str
    limit: str
    granted_by: str
    granted_at: str


class TargetContent(TypedDict):
    """What one characteristic has to measure. low or high is "" where there is none. source: the document that says so."""

    characteristic: str
    unit: str
    low: str
    nominal: str
    high: str
    source: str


class WireContent(TypedDict):
    """A wire in the barrel. size: as the catalogue names it ("0.75 mm²", "AWG 18, 19x0.25")."""

    part_number: str
    description: str
    size: str
    csa_mm2: str
    insulation_od_mm: str


class TerminalContent(TypedDict):
    part_number: str
    description: str
    conductor_range_mm2: str
    insulation_range_mm: str


class ToolContent(TypedDict):
    asset_number: str
    kind: str
    description: str
    cavity: str
    setting: str


# ---- setup sheet


class PlanLine(TypedDict):
    """One line of the inspection plan. when: "First piece"; what: "5 crimp heights, 3 pull tests, visual criteria"; signs: "operator"."""

    when: str
    what: str
    signs: str


class TerminationContent(TypedDict):
    """One end of a lead: wires, terminal, tool, targets, plan and what the fit rules found. wire_length_mm is "" when not given."""

    position: str
    lead: str
    end: str
    circuit: str
    quantity: str
    wire_length_mm: str
    wires: list[WireContent]
    csa_mm2: str
    terminal: TerminalContent
    tool: ToolContent
    specification: str
    targets: list[TargetContent]
    plan: list[PlanLine]
    findings: list[FindingContent]


class SetUpContent(TypedDict):
    """One setting of one tool, and the lead ends it serves ("4/A"). press is "" where left open."""

    number: str
    tool: str
    setting: str
    press: str
    terminal: str
    wires: str
    specification: str
    leads: list[str]
    quantity: str


class SetupSheetRecord(TypedDict):
    """A released setup sheet. supersedes and change_reason are "" on the first revision."""

    kind: Literal["setup sheet"]
    version: Literal["1"]
    number: str
    revision: str
    status: str
    supersedes: str
    change_reason: str
    shop: ShopContent
    job: JobContent
    parts: list[PartContent]
    set_ups: list[SetUpContent]
    terminations: list[TerminationContent]
    documents: list[GoverningDocument]
    concessions: list[ConcessionContent]
    signatures: list[SignatureContent]


# ---- batch record


class BatchTermination(TypedDict):
    """What the batch made, as the sheet in force said it."""

    sheet: str
    sheet_sha256: str
    position: str
    lead: str
    end: str
    wires: list[WireContent]
    csa_mm2: str
    terminal: TerminalContent
    tool: ToolContent
    specification: str
    targets: list[TargetContent]


class LoadedLotContent(TypedDict):
    """A reel or spool in the batch, from the piece after `from_count` to piece `to_count`."""

    kind: Literal["wire", "terminal"]
    lot: str
    part_number: str
    certificate: str
    from_count: str
    to_count: str
    by: str
    at: str


class GaugeContent(TypedDict):
    """A gauge that measured here, with the calibration in force at that moment."""

    asset_number: str
    kind: str
    resolution: str
    calibrated: str
    due: str
    certificate: str


class PersonContent(TypedDict):
    """Somebody who did something here, and what entitled them."""

    name: str
    role: str
    qualification: str
    valid_until: str


class ScanContent(TypedDict):
    """A thing held against the sheet at set-up. Refused scans stay on record; `why` says what the rule answered."""

    part: PartName
    code: str
    answer: Answer
    why: str
    by: str
    at: str


class ReadingContent(TypedDict):
    """One measured value, as typed or sent. corrects: "" or the value it replaces with the reason."""

    characteristic: str
    piece: str
    value: str
    unit: str
    low: str
    high: str
    limits_unit: str
    outcome: Outcome
    gauge: str
    by: str
    at: str
    corrects: str
    source: NotRequired[str]  # where a gauge sent it


class PullTestContent(TypedDict):
    """One pull to destruction. mode: how it failed ("wire broke at the crimp")."""

    piece: str
    value: str
    unit: str
    minimum: str
    mode: str
    outcome: Outcome
    gauge: str
    by: str
    at: str
    corrects: str
    source: NotRequired[str]


class VisualContent(TypedDict):
    criterion: str
    answer: Answer
    note: str
    by: str
    at: str


class SampleContent(TypedDict):
    """A first piece, in-process sample or last piece. at_count: pieces made when it was taken."""

    number: str
    kind: str
    at_count: str
    answer: Answer
    taken_by: str
    taken_at: str
    readings: list[ReadingContent]
    pull_tests: list[PullTestContent]
    visual: list[VisualContent]


class ChartContent(TypedDict):
    """A chart as one `<svg>` element of our own drawing. note: a sentence that says what it shows, for those who do not see it."""

    title: str
    svg: str
    note: str


class DispositionContent(TypedDict):
    """What quality decided about held pieces after the batch was closed. concession: "" but for pieces used as they are."""

    kind: str
    quantity: str
    note: str
    concession: str
    by: str
    at: str


class HoldContent(TypedDict):
    """A stop of the run: why, which pieces were suspect, what quality decided. decided_* are "" while it is open."""

    reason: str
    suspect: str
    raised_by: str
    raised_at: str
    decision: str
    decision_reason: str
    decided_by: str
    decided_at: str


class CountsContent(TypedDict):
    """made = good + scrap + destroyed + held."""

    planned: str
    made: str
    good: str
    scrap: str
    destroyed: str
    held: str


class PhotoContent(TypedDict):
    """A picture attached to a batch. sha256: of its file, which an evidence package holds beside the record."""

    title: str
    file_name: str
    sha256: str
    by: str
    at: str


class BatchRecordRecord(TypedDict):
    """A batch from set-up to balanced counts."""

    kind: Literal["batch record"]
    version: Literal["1"]
    number: str
    status: str
    opened_at: str
    closed_at: str
    shop: ShopContent
    job: JobContent
    termination: BatchTermination
    parts: list[PartContent]
    counts: CountsContent
    people: list[PersonContent]
    loaded_lots: list[LoadedLotContent]
    gauges: list[GaugeContent]
    scans: list[ScanContent]
    samples: list[SampleContent]
    decision_rules: list[str]
    charts: list[ChartContent]
    holds: list[HoldContent]
    dispositions: list[DispositionContent]
    documents: list[GoverningDocument]
    concessions: list[ConcessionContent]
    signatures: list[SignatureContent]
    photos: NotRequired[list[PhotoContent]]  # only where there are some: a record issued before there were any reads the same


# ---- first article


class ArticleContent(TypedDict):
    """The part that was inspected and the order it belongs to, in the sense of SAE AS9102, form 1, fields 1 to 14 and 19 to 24.

    extent: "full" or "partial"; baseline and reason belong to a partial one. holds_nonconformance: "yes" or "no"; verified, reviewed:
    name and day of the signatures on the piece; customer_approval is filled in by the customer.
    """

    part_number: str
    part_name: str
    serial_number: str
    report_number: str
    part_revision: str
    drawing: str
    drawing_revision: str
    further_changes: str
    process_reference: str
    organisation: str
    supplier_code: str
    purchase_order: str
    level: str
    extent: str
    baseline: str
    reason: str
    holds_nonconformance: str
    verified: str
    reviewed: str
    customer_approval: str
    comments: str


class NotApplicable(TypedDict):
    """A field of the standard that this report leaves empty, and why."""

    field: str
    why: str


class LowerPart(TypedDict):
    """A part that went into it (form 1, fields 15 to 18)."""

    part_number: str
    part_name: str
    origin: str
    lot: str
    report_number: str


class SourceContent(TypedDict):
    """A material, special process or functional test (form 2, fields 5 to 13)."""

    name: str
    specification: str
    process_code: str
    source: str
    source_approved: str
    certificate: str
    test_procedure: str
    test_report: str
    comment: str


class CharacteristicContent(TypedDict):
    """One characteristic of the drawing (form 3, fields 5 to 12): all values measured, or accept and reject for attributes."""

    number: str
    where: str
    designator: str
    requirement: str
    unit: str
    results: list[str]
    outcome: Outcome
    gauge: str
    tooling: str
    nonconformance: str
    comment: str


class FirstArticleRecord(TypedDict):
    """A first-article report. conclusion: one sentence; a report with an open nonconformance is not complete."""

    kind: Literal["first article"]
    version: Literal["2"]
    number: str
    status: str
    shop: ShopContent
    job: JobContent
    article: ArticleContent
    parts: list[PartContent]
    lower_parts: list[LowerPart]
    sources: list[SourceContent]
    characteristics: list[CharacteristicContent]
    not_applicable: list[NotApplicable]
    decision_rules: list[str]
    conclusion: str
    documents: list[GoverningDocument]
    concessions: list[ConcessionContent]
    signatures: list[SignatureContent]


# ---- trace report


class TracedBatch(TypedDict):
    """A batch behind a harness lot, with its six parts. quantity: pieces of it that went into the lot; issued: its documents."""

    number: str
    lead: str
    end: str
    quantity: str
    sheet: str
    status: str
    closed_at: str
    parts: list[PartContent]
    issued: list[str]


class BuiltLot(TypedDict):
    """A harness lot. shipped: harnesses of it in the shipment asked about ("" when a lot was asked about)."""

    number: str
    job: str
    part_number: str
    part_name: str
    built: str
    shipped: str
    built_at: str
    built_by: str
    batches: list[TracedBatch]


class TracedLot(BuiltLot, total=False):
    """A harness lot behind the ones asked about says in origin how it came into them; one with serial numbers has them in serials."""

    origin: str
    serials: list[str]


class TracedShipment(TypedDict):
    number: str
    customer: str
    delivery_note: str
    shipped_at: str
    shipped_by: str


class LedgerState(TypedDict):
    """How far the ledger reached when the question was answered: number and hash of its last entry."""

    entries: str
    hash: str


class TraceRecord(TypedDict):
    """Everything behind a shipment or a harness lot. question: what was asked, in words; shipments is empty for a lot not yet shipped."""

    kind: Literal["trace report"]
    version: Literal["1"]
    number: str
    question: str
    asked_by: str
    asked_at: str
    shop: ShopContent
    shipments: list[TracedShipment]
    parts: list[PartContent]
    lots: list[TracedLot]
    holds: list[HoldContent]
    concessions: list[ConcessionContent]
    ledger: LedgerState
    signatures: list[SignatureContent]


# ---- study report


class NamedValue(TypedDict):
    """A parameter or a subject of a study, as typed."""

    name: str
    value: str


class StudyValueContent(TypedDict):
    """One value as typed. place: where it belongs in the layout; row, column: the same in words; source: where it was taken over from."""

    place: str
    row: str
    column: str
    value: str
    by: str
    at: str
    source: str


class StudyFactContent(TypedDict):
    """One figure of the answer. word: how it was judged, empty where it was not."""

    label: str
    value: str
    unit: str
    outcome: str
    word: str
    note: str


class StudyTableContent(TypedDict):
    caption: str
    columns: list[str]
    rows: list[list[str]]


class StudyFigureContent(TypedDict):
    title: str
    svg: str
    note: str


class StudySectionContent(TypedDict):
    title: str
    intro: str
    facts: list[StudyFactContent]
    figures: list[StudyFigureContent]
    tables: list[StudyTableContent]
    notes: list[str]


class StudyGridContent(TypedDict):
    """The values as they were entered: a table whose rows begin with their label. Empty for values taken over from production."""

    rows_label: str
    heads: list[str]
    rows: list[list[str]]


class StudyCorrectionContent(TypedDict):
    place: str
    before: str
    after: str
    reason: str
    by: str
    at: str


class StudyRecord(TypedDict):
    """A concluded study. answer: every figure under its name, as signed, to be computed again by somebody else."""

    kind: Literal["study report"]
    version: Literal["1"]
    number: str
    title: str
    about: str
    shop: ShopContent
    subjects: list[NamedValue]
    parameters: list[NamedValue]
    unit: str
    outcome: Outcome
    word: str
    conclusion: str
    opened_by: str
    opened_at: str
    concluded_by: str
    concluded_at: str
    sections: list[StudySectionContent]
    grid: StudyGridContent
    recorded: list[str]
    corrections: list[StudyCorrectionContent]
    values: list[StudyValueContent]
    answer: dict[str, object]
    signatures: list[SignatureContent]


Record = SetupSheetRecord | FirstArticleRecord | BatchRecordRecord | TraceRecord | StudyRecord


# ---- the frame that is printed round a record


class DocumentFrame(TypedDict):
    """What stands in the header and footer of every page. It is not part of the record: a hash cannot contain itself.

    revision: revision of a sheet or issue of a report. sha256: of the record's canonical JSON. qr_svg: from `records.qr`, of verify_url.
    places: where people sign, each with its word and its anchor (`records.signing_places`); none where absent.
    """

    number: str
    revision: str
    title: str
    issued_at: str
    sha256: str
    verify_url: str
    qr_svg: str
    paper: Literal["A4", "Letter"]
    language: str
    places: NotRequired[list[dict[str, str]]]
