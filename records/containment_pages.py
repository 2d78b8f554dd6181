"""What the pages of containment show: the question and its suspects, the list to work through, the notice to a customer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.core.paginator import Page
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inspection.models import LinkKind, Nonconformance
from records.acts.containment import ALLOWED, CLOSED_MEANING, DECIDED_MEANING, OPENED_MEANING, open_findings
from records.containment import Line, Questioned
from records.models import Containment, Question, Suspect, SuspectDecision, SuspectDecisionKind, SuspectPlace
from records.nonconformance_links import linked_to, new_url
from shop.jobs import Customer
from shop.pages.paging import LongPaginator
from shop.people import Person
from shop.permissions import Deed, may
from shop.templatetags.shop import moment


@dataclass(frozen=True, slots=True)
class Place:
    """The suspects in one place, added up."""

    word: str
    lines: int
    quantity: int
    unit: str


PLACE_WORDS = {place.value: place.label for place in SuspectPlace}


def unit_of(place: str) -> str:
    return _("pieces") if place in (SuspectPlace.IN_PROCESS, SuspectPlace.PIECES) else _("harnesses")


def places_of(lines: Iterable[tuple[str, int]]) -> list[Place]:
    """How much is where, every place named: a place with nothing in it says so."""
    sums = {place.value: [0, 0] for place in SuspectPlace}
    for place, quantity in lines:
        sums[place][0] += 1
        sums[place][1] += quantity
    return [Place(str(PLACE_WORDS[place]), count, quantity, unit_of(place)) for place, (count, quantity) in sums.items()]


def sentence_of(question: str, name: str, since: datetime | None, until: datetime | None, since_count: int | None) -> str:
    """The question in words."""
    words = {
        Question.GAUGE.value: _("Gauge %(name)s was out of tolerance"),
        Question.WIRE_LOT.value: _("Wire lot %(name)s is not fit for use"),
        Question.TERMINAL_LOT.value: _("Terminal lot %(name)s is not fit for use"),
        Question.TOOL.value: _("Tool %(name)s was out of order"),
        Question.PERSON.value: _("%(name)s was not qualified"),
        Question.DOCUMENT.value: _("Document %(name)s is withdrawn"),
    }
    text = words[question] % {"name": name}
    if since_count is not None:
        text += _(" since count %(count)s") % {"count": f"{since_count:,}"}
    if since is not None:
        text += _(" from %(time)s") % {"time": moment(since)}
    if until is not None:
        text += _(" until %(time)s") % {"time": moment(until)}
    return f"{text}."


# --- Opening a case --------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ShownLine:
    """A suspect before the case is opened."""

    place: str
    number: str
    url: str
    about: str
    quantity: int
    unit: str


@dataclass(frozen=True, slots=True)
class ContainPage:
    """The question and what it makes suspect. lines: None until a question was asked."""

    questions: list[tuple[str, str]]
    question: str
    subject: str
    since: str
    until: str
    since_count: str
    reason: str
    sentence: str
    places: list[Place]
    lines: list[ShownLine] | None
    shown: int
    customers: list[str]
    meaning: str
    may_open: bool


def shown_line(line: Line) -> ShownLine:
    if line.batch is not None:
        about = _("job %(job)s, %(status)s") % {"job": line.batch.termination.sheet.job.number, "status": line.batch.status}
        return _shown(line, line.batch.number, reverse("prove:batch", args=[line.batch.number]), about)
    if line.lot is None:
        raise AssertionError("a suspect without batch has a lot")
    about = f"{line.lot.job.part_number} {line.lot.job.part_name}"
    if line.shipment is not None:
        about += _(", shipment %(shipment)s to %(customer)s") % {"shipment": line.shipment.number, "customer": line.shipment.customer.name}
    return _shown(line, line.lot.number, reverse("prove:lot", args=[line.lot.number]), about)


def _shown(line: Line, number: str, url: str, about: str) -> ShownLine:
    return ShownLine(str(PLACE_WORDS[line.place]), number, url, about, line.quantity, unit_of(line.place))


def contain_page(typed: dict[str, str], asked: Questioned | None, lines: Sequence[Line] | None, person: Person) -> ContainPage:
    """typed: the fields of the question as they stand in the form."""
    sentence = sentence_of(asked.question, asked.name, asked.since, asked.until, asked.since_count) if asked else ""
    listed = list(lines or [])
    return ContainPage(
        questions=[(value, str(label)) for value, label in Question.choices],
        question=typed.get("question", ""),
        subject=typed.get("subject", ""),
        since=typed.get("from", ""),
        until=typed.get("to", ""),
        since_count=typed.get("since_count", ""),
        reason=typed.get("reason", ""),
        sentence=sentence,
        places=places_of((line.place, line.quantity) for line in listed),
        lines=None if lines is None else [shown_line(line) for line in listed],
        shown=len(listed),
        customers=sorted({line.shipment.customer.name for line in listed if line.shipment is not None}),
        meaning=OPENED_MEANING,
        may_open=may(person, Deed.CONTAIN),
    )


# --- A case ----------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class SuspectRow:
    """A line of the list to work through. outcome: of the words a verdict has."""

    suspect: Suspect
    place: str
    number: str
    url: str
    about: str
    due: int
    unit: str
    waiting: int
    decisions: list[SuspectDecision]
    told: bool | None
    outcome: str
    word: str
    decide_url: str


@dataclass(frozen=True, slots=True)
class Notice:
    """A customer who received suspects, and whether they were told."""

    customer: Customer
    harnesses: int
    told: bool
    url: str


@dataclass(frozen=True, slots=True)
class CasePage:
    case: Containment
    sentence: str
    places: list[Place]
    rows: list[SuspectRow]
    waiting: int
    notices: list[Notice]
    is_open: bool
    may_decide: bool
    may_close: bool
    still_open: int
    meaning: str
    trail_name: str
    nonconformances: list[Nonconformance]
    open_url: str


def suspects_of(case: Containment) -> list[Suspect]:
    return list(
        case.suspects.select_related("batch__termination__sheet__job", "lot__job", "shipment__customer").prefetch_related(
            "decisions__by", "decisions__concession"
        )
    )


def suspect_row(suspect: Suspect, *, is_open: bool, may_decide: bool) -> SuspectRow:
    line = shown_line(Line(suspect.place, suspect.quantity, suspect.batch, suspect.lot, suspect.shipment))
    decisions = list(suspect.decisions.all())
    waiting = suspect.due - sum(d.quantity for d in decisions)
    told = any(d.kind == SuspectDecisionKind.NOTIFIED for d in decisions) if suspect.shipment else None
    unsettled = open_findings([suspect])
    word = _("open") if unsettled else _("settled")
    decide = reverse("prove:case-decide", args=[suspect.case.number, suspect.pk]) if is_open and may_decide and unsettled else ""
    return SuspectRow(
        suspect=suspect,
        place=line.place,
        number=line.number,
        url=line.url,
        about=line.about,
        due=suspect.due,
        unit=line.unit,
        waiting=waiting,
        decisions=decisions,
        told=told,
        outcome="waiting" if unsettled else "conforms",
        word=word,
        decide_url=decide,
    )


def case_page(case: Containment, person: Person) -> CasePage:
    is_open, allowed = case.closed_at is None, may(person, Deed.CONTAIN)
    listed = suspects_of(case)
    rows = [suspect_row(suspect, is_open=is_open, may_decide=allowed) for suspect in listed]
    still_open = len(open_findings(listed))
    return CasePage(
        case=case,
        sentence=sentence_of(case.question, case.subject_name, case.since, case.until, case.since_count),
        places=places_of((row.suspect.place, row.due) for row in rows),
        rows=rows,
        waiting=sum(1 for row in rows if row.outcome == "waiting"),
        notices=_notices(case, rows),
        is_open=is_open,
        may_decide=allowed and is_open,
        may_close=allowed and is_open and not still_open,
        still_open=still_open,
        meaning=CLOSED_MEANING,
        trail_name=case.number,
        nonconformances=linked_to(LinkKind.CASE, case.pk),
        open_url=new_url(case=case.number) if may(person, Deed.OPEN_NONCONFORMANCE) else "",
    )


def _notices(case: Containment, rows: list[SuspectRow]) -> list[Notice]:
    by_customer: dict[int, list[SuspectRow]] = {}
    for row in rows:
        if row.suspect.shipment is not None:
            by_customer.setdefault(row.suspect.shipment.customer_id, []).append(row)
    found = []
    for shipped in by_customer.values():
        first = shipped[0].suspect.shipment
        if first is not None:
            url = reverse("prove:case-notice", args=[case.number, first.customer.code])
            found.append(Notice(first.customer, sum(row.due for row in shipped), all(row.told for row in shipped), url))
    return sorted(found, key=lambda notice: notice.customer.name)


@dataclass(frozen=True, slots=True)
class DecidePage:
    case: Containment
    row: SuspectRow
    kinds: list[tuple[str, str]]
    kind: str
    quantity: str
    note: str
    concession: str
    takes_concession: bool
    return_url: str
    meaning: str


def decide_page(suspect: Suspect, typed: dict[str, str]) -> DecidePage:
    kinds = ALLOWED[suspect.place]
    row = suspect_row(suspect, is_open=True, may_decide=True)
    first = next((k.value for k in kinds if k != SuspectDecisionKind.NOTIFIED or not row.told), "")
    return DecidePage(
        case=suspect.case,
        row=row,
        kinds=[(kind.value, str(kind.label)) for kind in kinds],
        kind=typed.get("kind", first),
        quantity=typed.get("quantity", str(row.waiting)),
        note=typed.get("note", ""),
        concession=typed.get("concession", ""),
        takes_concession=SuspectDecisionKind.USE_AS_IS in kinds,
        return_url=reverse("prove:take-back", args=[suspect.shipment.number]) if suspect.shipment else "",
        meaning=DECIDED_MEANING,
    )


@dataclass(frozen=True, slots=True)
class CasesPage:
    rows: Page[Containment]
    open_only: bool
    may_open: bool


def cases_page(*, open_only: bool, page: str | None, person: Person) -> CasesPage:
    cases = Containment.objects.select_related("opened_by", "closed_by").order_by("-opened_at", "-pk")
    cases = cases.filter(closed_at=None) if open_only else cases
    return CasesPage(LongPaginator(cases, 50).get_page(page), open_only, may(person, Deed.CONTAIN))


# --- The notice ------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NoticeLine:
    """What a customer received: by shipment and lot."""

    shipment: str
    delivery_note: str
    shipped_on: str
    part: str
    drawing: str
    lot: str
    quantity: int
    serials: str


@dataclass(frozen=True, slots=True)
class NoticePage:
    """The draft of a notice to a customer: facts that are on record, nothing promised."""

    case: Containment
    customer: Customer
    shop_name: str
    shop_address: str
    paragraphs: list[str]
    lines: list[NoticeLine]
    total: int
    closing: list[str]

    @property
    def text(self) -> str:
        """The same as plain text, for a letter or a mail."""
        rows = [
            _("Shipment %(shipment)s (delivery note %(note)s) of %(day)s: %(n)s of %(part)s, drawing %(drawing)s, lot %(lot)s")
            % {
                "shipment": line.shipment,
                "note": line.delivery_note or "–",
                "day": line.shipped_on,
                "n": line.quantity,
                "part": line.part,
                "drawing": line.drawing,
                "lot": line.lot,
            }
            + (_(", serial numbers %(serials)s") % {"serials": line.serials} if line.serials else "")
            for line in self.lines
        ]
        head = [
            _("DRAFT – not sent, to be checked by quality"),
            "",
            self.shop_name,
            self.shop_address,
            "",
            _("To: %s") % self.customer.name,
            "",
        ]
        return "\n".join([*head, *self.paragraphs, "", *rows, "", *self.closing, ""])


def notice_page(case: Containment, customer: Customer) -> NoticePage:
    rows = [s for s in suspects_of(case) if s.shipment is not None and s.shipment.customer_id == customer.pk]
    lines = []
    for suspect in rows:
        if suspect.shipment is None or suspect.lot is None:
            continue
        job, sent = suspect.lot.job, suspect.shipment
        serials = [s.serial.serial for line in sent.shipment_lots.filter(lot=suspect.lot) for s in line.serials.select_related("serial")]
        lines.append(
            NoticeLine(
                shipment=sent.number,
                delivery_note=sent.delivery_note,
                shipped_on=moment(sent.shipped_at),
                part=f"{job.part_number} {job.part_name}",
                drawing=f"{job.drawing} {job.drawing_revision}",
                lot=suspect.lot.number,
                quantity=suspect.quantity,
                serials=", ".join(serials),
            )
        )
    total = sum(line.quantity for line in lines)
    return NoticePage(
        case=case,
        customer=customer,
        shop_name=settings.SHOP_NAME,
        shop_address=settings.SHOP_ADDRESS,
        paragraphs=[
            _("Subject: suspect harnesses, our case %(case)s") % {"case": case.number},
            sentence_of(case.question, case.subject_name, case.since, case.until, case.since_count),
            _("What was found: %(reason)s") % {"reason": case.reason},
            ngettext(
                "By our records %(n)s harness that was sent to you was made with it. Whether it conforms is not known.",
                "By our records %(n)s harnesses that were sent to you were made with it. Whether they conform is not known.",
                total,
            )
            % {"n": total},
        ],
        lines=lines,
        total=total,
        closing=[
            _("Please keep these harnesses back and tell us where they are."),
            _("What becomes of them is decided together with you."),
            _("Held in our shop since %(time)s.") % {"time": moment(case.opened_at)},
        ],
    )
