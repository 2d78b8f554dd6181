"""Keeping records: retention rules, legal holds, and disposal as a signed act that leaves the hashes.

A disposal commits first; the bytes go afterwards, by the worker. Whatever was left by a worker that died, the next run takes away.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.core.files.storage import default_storage
from django.db import transaction

from records.disposed import disposal_of
from records.events import LegalHoldLifted, LegalHoldPlaced, RecordsDisposed, RetentionRuleSet
from records.evidence_orders import EvidenceOrder
from records.keeping_models import (
    After,
    Attachment,
    Disposal,
    DisposedFile,
    HoldScope,
    KeptAs,
    LegalHold,
    RecordKind,
    RetentionRule,
    next_number,
)
from records.legal_holds import covering, exists
from records.models import DocumentSignature, IssuedDocument
from records.retention import ALLOWED, MOST, Assessed, Kept, assess, chosen_records, rules_in_force
from shop.clock import now, shop_day
from shop.events import Signing, publish
from shop.finding import Finding, misfit, refuse_if
from shop.imports import ImportRun
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.sign_on import signing_findings
from shop.specifications import Document
from shop.stored_files import lock
from shop.validation import clean

RULE_MEANING = "retention rule set"
HOLD_MEANING = "legal hold placed"
LIFT_MEANING = "legal hold lifted"
DISPOSED_MEANING = "disposal of records"

LONGEST_YEARS = 200

TURN = "keeping"
"""Locked by whoever places a hold, sets a rule or disposes: none of them slips in beside another."""


def rule_content(kind: str, rule: RetentionRule | None) -> dict[str, object] | None:
    """A rule as the ledger has it."""
    if rule is None:
        return None
    return {"records": kind, "years": rule.years if rule.years is not None else "for good", "after": rule.after, "reason": rule.reason}


def set_rule(*, kind: str, years: int | None, after: str, reason: str, by: Person, at: datetime, signing: Signing) -> RetentionRule:
    """Say how long records of a kind are kept. years: None keeps them for good. Raises Refused."""
    findings = permission_findings(by, Deed.KEEP_RECORDS) + signing_findings(signing, by, RULE_MEANING) + _rule_findings(kind, after)
    if not reason.strip():
        findings.append(misfit("data.required", "reason"))
    if years is not None and not 1 <= years <= LONGEST_YEARS:
        findings.append(misfit("data.invalid", "years", message=f"From 1 to {LONGEST_YEARS} years, or for good."))
    with transaction.atomic():
        refuse_if(findings)
        lock(TURN)
        before = rules_in_force().get(kind)
        rule = RetentionRule(kind=kind, years=years, after=after, reason=reason.strip(), by=by, at=at)
        clean(rule)
        rule.save(force_insert=True)
        content = {"rule": str(rule), "before": rule_content(kind, before), "after": rule_content(kind, rule)}
        publish(RetentionRuleSet(by=by, at=at, subject=("retention rule", rule.pk, str(rule)), content=content, signing=signing))
    return rule


def _rule_findings(kind: str, after: str) -> list[Finding]:
    if kind not in RecordKind.values:
        return [misfit("keeping.kind", "kind", kind=kind, kinds=", ".join(RecordKind.values))]
    allowed = [one.value for one in ALLOWED[kind]]
    if after in allowed:
        return []
    word = After(after).label if after in After.values else after
    return [misfit("keeping.after", "after", kind=kind, after=str(word), allowed=", ".join(allowed))]


# --- Legal holds ------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class HoldInput:
    """What is to be held. scope: of HoldScope; name: its number or code; since, until: of a period."""

    scope: str
    name: str = ""
    since: date | None = None
    until: date | None = None


def _scope_findings(stated: HoldInput) -> list[Finding]:
    if stated.scope == HoldScope.PERIOD:
        missing = [misfit("data.required", field) for field in ("since", "until") if getattr(stated, field) is None]
        if missing or stated.since is None or stated.until is None:
            return missing
        backwards = misfit("legal_hold.period", "until", since=stated.since.isoformat(), until=stated.until.isoformat())
        return [backwards] if stated.until < stated.since else []
    if not stated.name:
        return [misfit("data.required", "name")]
    known = stated.scope in HoldScope.values and exists(stated.scope, stated.name)
    return [] if known else [misfit("legal_hold.scope", "name", scope=stated.scope, name=stated.name)]


def place_hold(*, stated: HoldInput, reason: str, reference: str, by: Person, at: datetime, signing: Signing) -> LegalHold:
    """Keep everything inside from being disposed of. reference: of whoever asked for it. Raises Refused."""
    stated = replace(stated, name=stated.name.strip())
    findings = permission_findings(by, Deed.HOLD_RECORDS) + signing_findings(signing, by, HOLD_MEANING) + _scope_findings(stated)
    findings += [misfit("data.required", field) for field, text in (("reason", reason), ("reference", reference)) if not text.strip()]
    period = stated.scope == HoldScope.PERIOD
    with transaction.atomic():
        refuse_if(findings)
        lock(TURN)
        hold = LegalHold(
            number=next_number("LH", LegalHold),
            scope=stated.scope,
            name="" if period else stated.name,
            since=stated.since if period else None,
            until=stated.until if period else None,
            reason=reason.strip(),
            reference=reference.strip(),
            placed_by=by,
            placed_at=at,
        )
        clean(hold)
        hold.save(force_insert=True)
        publish(LegalHoldPlaced(by=by, at=at, subject=hold_subject(hold), content=hold_content(hold), signing=signing))
    return hold


def lift_hold(*, hold: LegalHold, reason: str, by: Person, at: datetime, signing: Signing) -> LegalHold:
    """End a hold; it stays on record. Raises Refused."""
    with transaction.atomic():
        hold = LegalHold.objects.select_for_update().get(pk=hold.pk)
        findings = permission_findings(by, Deed.HOLD_RECORDS) + signing_findings(signing, by, LIFT_MEANING)
        if not reason.strip():
            findings.append(misfit("data.required", "reason"))
        if hold.lifted_at is not None:
            findings.append(misfit("legal_hold.lifted", hold=hold.number))
        refuse_if(findings)
        hold.lifted_because, hold.lifted_by, hold.lifted_at = reason.strip(), by, at
        clean(hold)
        hold.save(update_fields=["lifted_because", "lifted_by", "lifted_at"])
        content = hold_content(hold) | {"reason": hold.lifted_because}
        publish(LegalHoldLifted(by=by, at=at, subject=hold_subject(hold), content=content, signing=signing))
    return hold


def hold_subject(hold: LegalHold) -> tuple[str, int, str]:
    return ("legal hold", hold.pk, hold.number)


def hold_content(hold: LegalHold) -> dict[str, object]:
    return {"hold": hold.number, "scope": hold.scope, "what": hold.what, "reason": hold.reason, "reference": hold.reference}


# --- Disposal ------------------------------------------------------------------------------------------------------------------------


def dispose(*, kind: str, keys: Sequence[str], rule_seen: str, note: str, by: Person, at: datetime, signing: Signing) -> Disposal:
    """Let the files of due records go. keys: of the records, "document:12". rule_seen: the rule under which they were shown as due.

    Raises Refused with every reason of every record; nothing goes then.
    """
    findings = permission_findings(by, Deed.KEEP_RECORDS) + signing_findings(signing, by, DISPOSED_MEANING)
    if kind not in RecordKind.values:
        findings.append(misfit("keeping.kind", "kind", kind=kind, kinds=", ".join(RecordKind.values)))
    keys = list(dict.fromkeys(keys))
    if not keys:
        findings.append(misfit("keeping.nothing", "records"))
    if len(keys) > MOST:
        findings.append(misfit("data.invalid", "records", message=f"At most {MOST} records go in one act."))
    from records.tasks import remove_disposed_files  # noqa: PLC0415  # the task calls this module

    with transaction.atomic():
        refuse_if(findings)
        lock(TURN)
        rule = rules_in_force().get(kind)
        if rule is None:
            findings.append(misfit("keeping.no_rule", "kind", kind=kind))
        elif str(rule) != rule_seen:
            findings.append(misfit("sign.stale"))
        records = chosen_records(kind, keys)
        findings += _left_out_findings(keys, records)
        refuse_if(findings)
        if rule is None:
            raise AssertionError("refused above")
        assessed = assess(rule, records, at, covering())
        refuse_if(finding for one in assessed for finding in one.findings)
        act = Disposal(number=next_number("DP", Disposal), kind=kind, rule=rule, reason=note.strip(), by=by, at=at)
        clean(act)
        act.save(force_insert=True)
        files = [row for one in assessed for row in _rows_of(act, one)]
        DisposedFile.objects.bulk_create(files)
        content = disposal_content(act, files)
        publish(RecordsDisposed(by=by, at=at, subject=("disposal", act.pk, act.number), content=content, signing=signing))
        # Robust: a queue that cannot be written leaves files behind, which the next run finds; the act stands.
        transaction.on_commit(lambda: remove_disposed_files.enqueue(), robust=True)
    return act


def _left_out_findings(keys: Sequence[str], records: Sequence[Kept]) -> list[Finding]:
    found = {one.key for one in records}
    findings = []
    for key in keys:
        if key in found:
            continue
        kept_as, _colon, pk = key.partition(":")
        gone = disposal_of((kept_as, int(pk))) if pk.isdigit() and len(pk) < 19 else None
        if gone is not None:
            findings.append(misfit("keeping.disposed", "records", name=gone.name, act=gone.disposal.number))
        else:
            findings.append(misfit("data.unknown", "records", thing="record", name=key))
    return findings


def _rows_of(act: Disposal, one: Assessed) -> list[DisposedFile]:
    if one.due_on is None:
        raise AssertionError("what is not due was refused")
    return [
        DisposedFile(
            disposal=act,
            kept_as=one.kept.kept_as,
            row_id=one.kept.pk,
            name=one.kept.name[:200],
            stored=file.stored,
            sha256=file.sha256,
            size=file.size or _size_of(file.stored),
            made_at=one.kept.made_at,
            due_on=one.due_on,
        )
        for file in one.kept.files
    ]


def _size_of(stored: str) -> int:
    """Of an imported file, whose row has none."""
    try:
        return int(default_storage.size(stored))
    except OSError:
        return 0


def disposal_content(act: Disposal, files: Sequence[DisposedFile]) -> Mapping[str, object]:
    """What quality signed: the rule, and each file with what stays of it."""
    return {
        "act": act.number,
        "records": act.kind,
        "rule": str(act.rule),
        "rule_says": rule_content(act.kind, act.rule),
        "note": act.reason,
        "files": [
            {
                "record": file.name,
                "kept_as": file.kept_as,
                "id": file.row_id,
                "sha256": file.sha256,
                "size": file.size,
                "made": shop_day(file.made_at),
                "due": file.due_on,
            }
            for file in files
        ],
    }


def still_named(stored: str, sha256: str) -> bool:
    """Whether a record that is kept holds the same bytes under the same name."""
    folder = stored.partition("/")[0]
    holders: list[tuple[KeptAs, set[int]]]
    if folder == "documents":
        issued = set(IssuedDocument.objects.filter(sha256=sha256).values_list("pk", flat=True))
        issued |= set(DocumentSignature.objects.filter(sha256=sha256).values_list("document", flat=True))
        holders = [(KeptAs.DOCUMENT, issued)]
    elif folder == "evidence":
        holders = [(KeptAs.PACKAGE, set(EvidenceOrder.objects.filter(sha256=sha256).values_list("pk", flat=True)))]
    else:
        holders = [
            (KeptAs.ATTACHMENT, set(Attachment.objects.filter(sha256=sha256).values_list("pk", flat=True))),
            (KeptAs.CONTROLLED, set(Document.objects.filter(file_sha256=sha256).values_list("pk", flat=True))),
            (KeptAs.IMPORT, set(ImportRun.objects.filter(sha256=sha256).values_list("pk", flat=True))),
        ]
    for kept_as, rows in holders:
        gone = set(DisposedFile.objects.filter(kept_as=kept_as, row_id__in=rows, sha256=sha256).values_list("row_id", flat=True))
        if rows - gone:
            return True
    return False


def remove_files() -> int:
    """Take away the bytes of everything disposed of whose act is not finished; gives back how many files went.

    Safe to repeat and to break off at any point: an act is finished only when each of its files was seen to.
    """
    went = 0
    for act in Disposal.objects.filter(finished_at=None).order_by("pk"):
        for file in act.files.all():
            # One short transaction a file: whoever is about to name the same bytes waits for it, or is seen here.
            with transaction.atomic():
                lock(file.stored)
                if not still_named(file.stored, file.sha256) and default_storage.exists(file.stored):
                    default_storage.delete(file.stored)
                    went += 1
        Disposal.objects.filter(pk=act.pk, finished_at=None).update(finished_at=now())
    return went


def finish_disposals(*, by: Person, at: datetime) -> int:
    """Take away what a worker left behind. Raises Refused."""
    refuse_if(permission_findings(by, Deed.KEEP_RECORDS))
    return remove_files()
