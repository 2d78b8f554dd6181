"""What the pages of keeping show: rules and what is due, legal holds, what was disposed of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Count
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from records.acts.keeping import DISPOSED_MEANING, HOLD_MEANING, LIFT_MEANING, RULE_MEANING, still_named
from records.keeping_models import After, Disposal, DisposedFile, HoldScope, LegalHold, RecordKind, RetentionRule
from records.legal_holds import Covered, covered_by, covering
from records.models import DocumentKind, IssuedDocument
from records.retention import ALLOWED, PROPOSED, Assessed, Proposal, proposal, rules_in_force
from shop.pages.acting import refusal_of
from shop.pages.relied_on import size_words
from shop.people import Person
from shop.permissions import Deed, may
from shop.wording import Worded


def rule_words(years: int | None) -> str:
    """How long, in words."""
    if years is None:
        return _("for good")
    return (
        _("%(years)s calendar years after the year in which") % {"years": years}
        if years != 1
        else _("one calendar year after the year in which")
    )


@dataclass(frozen=True, slots=True)
class KindRow:
    """One kind of record: its rule, and what is due. more: there may be more than was looked at."""

    kind: str
    title: str
    rule: RetentionRule | None
    words: str
    after: str
    due: int
    held: int
    others: int
    more: bool
    disposed: int
    rule_url: str
    due_url: str


@dataclass(frozen=True, slots=True)
class KeepingPage:
    rows: list[KindRow]
    holds: list[LegalHold]
    disposals: list[Disposal]
    without_rule: int
    may_keep: bool
    may_hold: bool


def keeping_page(person: Person, at: datetime) -> KeepingPage:
    rules, holds = rules_in_force(), covering()
    gone = dict(DisposedFile.objects.order_by().values_list("disposal__kind").annotate(n=Count("row_id", distinct=True)))
    rows = [_kind_row(kind, rules.get(kind), holds, gone.get(kind, 0), at) for kind in RecordKind.values]
    return KeepingPage(
        rows=rows,
        holds=list(LegalHold.objects.select_related("placed_by", "lifted_by")[:50]),
        disposals=list(Disposal.objects.select_related("by", "rule").annotate(count=Count("files"))[:20]),
        without_rule=sum(1 for row in rows if row.rule is None),
        may_keep=may(person, Deed.KEEP_RECORDS),
        may_hold=may(person, Deed.HOLD_RECORDS),
    )


def _kind_row(kind: str, rule: RetentionRule | None, holds: list[Covered], disposed: int, at: datetime) -> KindRow:
    found = proposal(kind, at, rule=rule, holds=holds)
    return KindRow(
        kind=kind,
        title=str(RecordKind(kind).label),
        rule=rule,
        words=rule_words(rule.years) if rule else "",
        after=str(After(rule.after).label) if rule else "",
        due=len(found.due),
        held=len(found.held),
        others=len(found.others),
        more=found.is_cut,
        disposed=disposed,
        rule_url=reverse("prove:retention-rule", args=[kind.replace(" ", "-")]),
        due_url=reverse("prove:due", args=[kind.replace(" ", "-")]),
    )


@dataclass(frozen=True, slots=True)
class RulePage:
    kind: str
    title: str
    rule: RetentionRule | None
    words: str
    after_word: str
    earlier: list[RetentionRule]
    years: str
    for_good: bool
    after: str
    afters: list[tuple[str, str]]
    reason: str
    proposed: bool
    meaning: str
    may_keep: bool


def rule_page(kind: str, typed: Mapping[str, str], person: Person) -> RulePage:
    """typed: the form as it was sent; empty: the rule in force, or what is proposed."""
    rules = list(RetentionRule.objects.filter(kind=kind).select_related("by"))
    rule = rules[0] if rules else None
    start = rule or PROPOSED[kind]
    return RulePage(
        kind=kind,
        title=str(RecordKind(kind).label),
        rule=rule,
        words=rule_words(rule.years) if rule else "",
        after_word=str(After(rule.after).label) if rule else "",
        earlier=rules[1:],
        years=typed.get("years", "" if start.years is None else str(start.years)),
        for_good="for_good" in typed if typed else start.years is None,
        after=typed.get("after", start.after),
        afters=[(one.value, str(one.label)) for one in ALLOWED[kind]],
        reason=typed.get("reason", start.reason),
        proposed=rule is None and not typed,
        meaning=RULE_MEANING,
        may_keep=may(person, Deed.KEEP_RECORDS),
    )


@dataclass(frozen=True, slots=True)
class DueRow:
    """A record of the list. why: what forbids its disposal."""

    key: str
    name: str
    made: datetime
    due_on: date | None
    size: str
    sha256: str
    files: int
    chosen: bool
    why: list[Worded]


@dataclass(frozen=True, slots=True)
class DuePage:
    kind: str
    title: str
    rule: RetentionRule | None
    words: str
    after_word: str
    due: list[DueRow]
    kept: list[DueRow]
    more: bool
    note: str
    meaning: str
    may_keep: bool
    rule_url: str


def due_page(kind: str, at: datetime, person: Person, *, chosen: set[str] | None, note: str) -> DuePage:
    """chosen: the keys ticked in a form that was sent; None: every one that is due."""
    rule = rules_in_force().get(kind)
    found: Proposal = proposal(kind, at, rule=rule, holds=covering())
    return DuePage(
        kind=kind,
        title=str(RecordKind(kind).label),
        rule=rule,
        words=rule_words(rule.years) if rule else "",
        after_word=str(After(rule.after).label) if rule else "",
        due=[_due_row(one, chosen) for one in found.due],
        kept=[_due_row(one, set()) for one in (*found.held, *found.others)],
        more=found.is_cut,
        note=note,
        meaning=DISPOSED_MEANING,
        may_keep=may(person, Deed.KEEP_RECORDS),
        rule_url=reverse("prove:retention-rule", args=[kind.replace(" ", "-")]),
    )


def _due_row(one: Assessed, chosen: set[str] | None) -> DueRow:
    size = sum(file.size for file in one.kept.files)
    return DueRow(
        key=one.kept.key,
        name=one.kept.name,
        made=one.kept.made_at,
        due_on=one.due_on,
        size=size_words(size) if size else "–",
        sha256=one.kept.files[0].sha256,
        files=len(one.kept.files),
        chosen=chosen is None or one.kept.key in chosen,
        why=list(refusal_of(one.findings).findings) if one.findings else [],
    )


# --- Legal holds --------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class NewHoldPage:
    scopes: list[tuple[str, str]]
    scope: str
    name: str
    since: str
    until: str
    reason: str
    reference: str
    meaning: str


def new_hold_page(typed: Mapping[str, str]) -> NewHoldPage:
    texts = {name: typed.get(name, "") for name in ("name", "since", "until", "reason", "reference")}
    scopes = [(value, str(label)) for value, label in HoldScope.choices]
    return NewHoldPage(scopes=scopes, scope=typed.get("scope", HoldScope.SHIPMENT), meaning=HOLD_MEANING, **texts)


@dataclass(frozen=True, slots=True)
class HoldPage:
    """covered: how many things of each sort are inside at present."""

    hold: LegalHold
    covered: list[tuple[str, int]]
    may_lift: bool
    reason: str
    meaning: str
    trail_url: str


COVERED_WORDS = {
    "batch": gettext_lazy("batches"),
    "harness lot": gettext_lazy("harness lots"),
    "shipment": gettext_lazy("shipments"),
    "setup sheet": gettext_lazy("setup sheets"),
    "wire-lots": gettext_lazy("wire lots"),
    "terminal-lots": gettext_lazy("terminal lots"),
    "documents": gettext_lazy("controlled documents"),
    "calibrations": gettext_lazy("calibrations"),
    "gauges": gettext_lazy("gauges"),
    "tools": gettext_lazy("tools"),
    "press": gettext_lazy("presses"),
    "study": gettext_lazy("studies"),
    "nonconformance": gettext_lazy("nonconformances"),
    "containment case": gettext_lazy("containment cases"),
}


def hold_page(hold: LegalHold, person: Person, reason: str) -> HoldPage:
    inside = covered_by(hold).things
    return HoldPage(
        hold=hold,
        covered=[(str(word), len(inside.get(kind, ()))) for kind, word in COVERED_WORDS.items()],
        may_lift=hold.lifted_at is None and may(person, Deed.HOLD_RECORDS),
        reason=reason,
        meaning=LIFT_MEANING,
        trail_url=reverse("prove:trail", args=["legal-hold", hold.pk]),
    )


# --- Disposals -------------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class DisposalPage:
    """files: each with whether another record still holds the same bytes."""

    act: Disposal
    title: str
    files: list[tuple[DisposedFile, str, bool]]
    certificates: list[IssuedDocument]
    may_issue: bool
    may_finish: bool
    trail_url: str


def disposal_page(act: Disposal, person: Person) -> DisposalPage:
    issued = IssuedDocument.objects.filter(kind=DocumentKind.DISPOSAL, subject_kind="disposal", subject_id=act.pk)
    return DisposalPage(
        act=act,
        title=str(RecordKind(act.kind).label),
        files=[(file, size_words(file.size) if file.size else "–", still_named(file.stored, file.sha256)) for file in act.files.all()],
        certificates=list(issued.order_by("-issue")),
        may_issue=may(person, Deed.ISSUE_DOCUMENT),
        may_finish=act.finished_at is None and may(person, Deed.KEEP_RECORDS),
        trail_url=reverse("prove:trail", args=["disposal", act.pk]),
    )
