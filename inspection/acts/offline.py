"""Acts that a tablet kept while it had no connection, done now in the order in which they were made.

Each goes through the very act that the page calls, once by its key, at the tablet's time corrected by what its clock is off. What does
not fit any more is set aside with everything that builds on it, and a person decides: nothing is dropped and nothing slips in.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.core.signing import BadSignature, TimestampSigner
from django.db import IntegrityError, transaction
from django.db.models import Max

from inspection.acts.batches import batch_subject, open_batch, pieces_tested, scan
from inspection.acts.claims import Claim
from inspection.acts.holds import raise_hold
from inspection.acts.samples import (
    Look,
    conclude_sample,
    countersign_first_piece,
    judge_cross_section,
    record_looks,
    record_pull,
    record_reading,
    record_visual,
    start_sample,
)
from inspection.contents import sample_outcome
from inspection.events import OfflineActDecided, OfflineActRecorded, OfflineActSetAside
from inspection.models import (
    Batch,
    BatchStatus,
    OfflineAct,
    OfflineDecision,
    OfflineKind,
    OutcomeText,
    PullTest,
    Reading,
    Sample,
    SampleState,
)
from inspection.set_up import current_scans, findings_from_text, findings_text, lot_findings
from shop.canonical import content_sha256
from shop.clock import shop_day
from shop.events import Signing, publish
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.jobs import Performed, SheetStatus, Termination
from shop.once import form_digest, once
from shop.people import Person
from shop.permissions import Deed, may
from shop.sign_on import person_for, signing_findings

TAKEN_OVER_MEANING = "taken over from the tablet"
NOTE_MEANING = "kept as a note only"

SKEW_TOLD = timedelta(minutes=2)
"""A tablet's clock that is further off than this is told to people (our own choice)."""

TICKET_AGE = timedelta(days=7)
"""How long a tablet may stay away with a person's acts; older ones that person decides about (our own choice)."""

_TICKETS = TimestampSigner(salt="inspection.offline")


def ticket_for(person: Person) -> str:
    """Shows later that this person was signed on at the tablet that carries it. No secret of theirs is in it."""
    return _TICKETS.sign(str(person.pk))


def _ticket_holds(ticket: str, person: Person) -> bool:
    try:
        return _TICKETS.unsign(ticket, max_age=TICKET_AGE) == str(person.pk)
    except BadSignature:
        return False


@dataclass(frozen=True, slots=True)
class Sent:
    """One act as the tablet sends it. by: user name or badge. batch, content["sample"]: a number, or "new:" and the key of the act that
    made it. path, fields: of the form that failed on its way, where it was one: it may have reached the server after all."""

    key: str
    kind: str
    batch: str
    by: str
    made_at: datetime
    content: Mapping[str, Any]
    ticket: str = ""
    path: str = ""
    fields: Sequence[tuple[str, str]] = ()


@dataclass(frozen=True, slots=True)
class Answered:
    """state: "recorded", "recorded before", "needs a person", "waits" or "refused" (nothing that could be kept)."""

    key: str
    state: str
    findings: tuple[Finding, ...] = ()
    verdict: str = ""
    result: str = ""
    batch: str = ""
    aside: int | None = None


# --- Taking in --------------------------------------------------------------------------------------------------------------------


def replay(*, acts: Sequence[Sent], sent_by: Person, tablet: str, tablet_now: datetime, at: datetime) -> list[Answered]:
    """Do each act once. Never raises for an act that does not fit: that is an answer, and the act is kept."""
    skew = at - tablet_now
    return [_replay_one(sent, sent_by, tablet[:64], skew, at) for sent in acts]


def _replay_one(sent: Sent, sent_by: Person, tablet: str, skew: timedelta, at: datetime) -> Answered:
    if not sent.key or len(sent.key) > 64:
        return Answered(sent.key, "refused", (misfit("once.key", "act_key"),))
    earlier = _earlier(sent)
    if earlier is not None:
        return earlier
    person = person_for(sent.by)
    batch = _batch_of(sent.batch)
    behind = _undecided(batch, tablet) if batch is not None and sent.kind != OfflineKind.HOLD else None
    made_at = corrected(sent.made_at + skew, batch, at)
    row = OfflineAct(
        key=sent.key,
        kind=sent.kind[:16],
        batch=batch,
        by=person or sent_by,
        sent_by=sent_by,
        tablet=tablet,
        content={**sent.content, "batch": sent.batch},
        tablet_time=sent.made_at,
        made_at=made_at,
        received_at=at,
        skew_seconds=round(skew.total_seconds()),
        set_aside=False,
    )
    try:
        refuse_if(_whose(sent, person, sent_by))
        if sent.kind not in OfflineKind.values:
            raise Refused([misfit("offline.content", what=f"kind {sent.kind}")])
        if batch is None and sent.kind != OfflineKind.OPEN:
            raise Refused([misfit("offline.batch", batch=sent.batch)])
        if behind is not None:
            raise Refused([misfit("offline.waits", before=str(behind))])
        done = _once(row, meanwhile=True)
    except Refused as refused:
        return _set_aside(row, refused.findings, behind)
    except IntegrityError:
        # The same key at the same time, or somebody else's row: what is there now decides which.
        return _earlier(sent) or _set_aside(row, (misfit("data.race"),), behind)
    return done


def _earlier(sent: Sent) -> Answered | None:
    """The answer to an act whose key is known: from an earlier replay, or from the form itself, whose answer was lost."""
    kept = OfflineAct.objects.filter(key=sent.key).select_related("batch", "decision").first()
    if kept is not None:
        batch = kept.batch.number if kept.batch else ""
        if kept.set_aside and not hasattr(kept, "decision"):
            return _aside_answer(kept)
        return Answered(sent.key, "recorded before", result=kept.result, batch=batch, aside=kept.pk if kept.set_aside else None)
    done = Performed.objects.filter(key=sent.key).first()
    if done is None:
        return None
    if sent.path and done.act.rpartition(" ")[2] != form_digest(sent.path, sent.fields):
        return None  # the key stands for another value: the act is refused by it, and set aside
    return Answered(sent.key, "recorded before", result=done.result, batch=sent.batch)


def _aside_answer(row: OfflineAct) -> Answered:
    state = "waits" if row.follows_id else "needs a person"
    batch = row.batch.number if row.batch else ""
    return Answered(row.key, state, tuple(findings_from_text(row.findings)), batch=batch, aside=row.pk)


def _whose(sent: Sent, person: Person | None, sent_by: Person) -> list[Finding]:
    if person is not None and (person.pk == sent_by.pk or _ticket_holds(sent.ticket, person)):
        return []
    return [misfit("offline.person", person=person.name if person else sent.by)]


def _batch_of(named: str) -> Batch | None:
    """The batch of that number, or the one that the act with that key opened."""
    if named.startswith("new:"):
        done = Performed.objects.filter(key=named[4:]).first()
        named = done.result if done else ""
    return Batch.objects.filter(number=named).select_related("termination__sheet").first() if named else None


def _undecided(batch: Batch, tablet: str) -> OfflineAct | None:
    """The first act of this tablet on this batch that waits for a person."""
    return batch.offline_acts.filter(tablet=tablet, set_aside=True, decision__isnull=True).order_by("pk").first()


def corrected(made_at: datetime, batch: Batch | None, at: datetime) -> datetime:
    """The time of an act: never in the future, and never before what was done on its batch already."""
    moment = min(made_at, at)
    if batch is None:
        return moment
    newest: list[datetime | None] = [
        batch.opened_at,
        batch.scans.aggregate(n=Max("at"))["n"],
        batch.samples.aggregate(n=Max("taken_at"))["n"],
        batch.samples.aggregate(n=Max("concluded_at"))["n"],
        Reading.objects.filter(sample__batch=batch).aggregate(n=Max("at"))["n"],
        PullTest.objects.filter(sample__batch=batch).aggregate(n=Max("at"))["n"],
        batch.holds.aggregate(n=Max("raised_at"))["n"],
        batch.holds.aggregate(n=Max("decided_at"))["n"],
        batch.offline_acts.filter(set_aside=False).aggregate(n=Max("made_at"))["n"],
    ]
    latest: datetime = max([moment, *(one for one in newest if one is not None)])
    return min(latest, at)


def _once(row: OfflineAct, *, meanwhile: bool, keep: bool = True) -> Answered:
    """Do the act with its key, and keep where it came from in the same transaction. Raises Refused."""
    verdict = ""

    def do() -> str:
        nonlocal verdict
        if meanwhile:
            refuse_if(_meanwhile(row))
        result, verdict = DEEDS[row.kind](row)
        if keep:
            row.result = result
            if row.batch is None:
                row.batch = _batch_of(result)
            row.save(force_insert=True)
            subject = batch_subject(row.batch) if row.batch else ("offline act", row.pk, row.key)
            publish(OfflineActRecorded(by=row.by, at=row.received_at, subject=subject, content=_told(row)))
        return result

    act = f"offline {row.kind} {content_sha256({'batch': str(row.batch), 'content': row.content})[:12]}"
    result = once(key=row.key, act=act, by=row.by, at=row.made_at, do=do)
    return Answered(row.key, "recorded", verdict=verdict, result=result, batch=row.batch.number if row.batch else result)


def _told(row: OfflineAct) -> dict[str, object]:
    return {
        "kind": row.kind,
        "key": row.key,
        "content": row.content,
        "tablet": row.tablet,
        "tablet_time": row.tablet_time,
        "made_at": row.made_at,
        "clock_off_s": row.skew_seconds,
        "sent_by": row.sent_by.name,
    }


def _set_aside(row: OfflineAct, findings: Sequence[Finding], behind: OfflineAct | None) -> Answered:
    row.set_aside, row.follows, row.findings, row.result = True, behind, findings_text(findings), ""
    row.pk = None
    try:
        with transaction.atomic():
            row.save(force_insert=True)
            subject = batch_subject(row.batch) if row.batch else ("offline act", row.pk, row.key)
            content = _told(row) | {"why": [f.rule for f in findings]}
            publish(OfflineActSetAside(by=row.sent_by, at=row.received_at, subject=subject, content=content))
    except IntegrityError:
        kept = OfflineAct.objects.filter(key=row.key).select_related("batch").first()
        if kept is None:
            raise
        return _aside_answer(kept) if kept.set_aside else Answered(row.key, "recorded before", result=kept.result)
    return _aside_answer(row)


def _meanwhile(row: OfflineAct) -> list[Finding]:
    """What changed while the tablet was away: the sheet, and the lots in the press. The tablet says what it believed."""
    batch, believed = row.batch, row.content.get("believed")
    if batch is None or not isinstance(believed, Mapping) or row.kind not in (OfflineKind.START, OfflineKind.SCAN):
        return []
    findings = []
    sheet = batch.termination.sheet
    if believed.get("sheet") == SheetStatus.RELEASED and sheet.status != SheetStatus.RELEASED:
        findings.append(misfit("batch.sheet", "sheet", sheet=str(sheet), status=sheet.status))
    if believed.get("lots") and row.kind == OfflineKind.START:
        for scanned in current_scans(batch).values():
            lot = scanned.wire_lot or scanned.terminal_lot
            if lot is not None:
                findings += lot_findings(lot, batch.termination, shop_day(row.received_at))
    return findings


# --- Each kind --------------------------------------------------------------------------------------------------------------------

Done = tuple[str, str]
"""What names the result, and the server's verdict."""


def _text(row: OfflineAct, name: str, most: int = 300) -> str:
    value = row.content.get(name, "")
    if not isinstance(value, str) or len(value) > most or "\0" in value:
        raise Refused([misfit("offline.content", what=name)])
    return value


def _number(row: OfflineAct, name: str, default: int | None = None) -> int:
    value = row.content.get(name, default)
    if isinstance(value, str) and value.isascii() and value.isdigit():
        value = int(value) if len(value) <= 9 else None
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value < 10**9:
        raise Refused([misfit("offline.content", what=name)])
    return value


def _batch(row: OfflineAct) -> Batch:
    if row.batch is None:
        raise Refused([misfit("offline.batch", batch="?")])
    return row.batch


def _sample(row: OfflineAct) -> Sample:
    batch, named = _batch(row), row.content.get("sample")
    if isinstance(named, str) and named.startswith("new:"):
        done = Performed.objects.filter(key=named[4:]).first()
        named = int(done.result) if done and done.result.isdigit() else None
    if isinstance(named, bool) or not isinstance(named, int):
        named = None
    sample = batch.samples.filter(number=named).first()
    if sample is None:
        raise Refused([misfit("offline.sample")])
    return sample


def _claimant(row: OfflineAct) -> Person:
    """The person whose badge was held to the tablet; nobody could ask for their PIN."""
    badge = _text(row, "badge", 60)
    person = person_for(badge)
    if person is None:
        raise Refused([misfit("data.unknown", "badge", thing="badge", name=badge or "–")])
    return person


def _open(row: OfflineAct) -> Done:
    termination = Termination.objects.filter(pk=_number(row, "termination")).first()
    if termination is None:
        raise Refused([misfit("offline.content", what="termination")])
    return open_batch(termination=termination, quantity=_number(row, "quantity"), by=row.by, at=row.made_at).number, ""


def _scan(row: OfflineAct) -> Done:
    count = _number(row, "at_count") if row.content.get("at_count") not in (None, "") else None
    answer = scan(batch=_batch(row), code=_text(row, "code", 200), by=row.by, at=row.made_at, at_count=count)
    if row.content.get("accepted") is True and not answer.accepted:
        # The press ran on what the tablet took for a yes: a person has to look.
        raise Refused([f for f in answer.findings if f.blocks] or [misfit("scan.unknown", "code", code=answer.code)])
    return ("accepted" if answer.accepted else "refused" if answer.part else "unknown"), ("yes" if answer.accepted else "no")


def _start(row: OfflineAct) -> Done:
    kind, count = _text(row, "sample_kind", 20), _number(row, "at_count")
    return str(start_sample(batch=_batch(row), kind=kind, at_count=count, by=row.by, at=row.made_at).number), ""


def _reading(row: OfflineAct) -> Done:
    sample, name, piece = _sample(row), _text(row, "characteristic", 24), _number(row, "piece")
    standing = sample.readings.standing().filter(characteristic=name, piece=piece).first() if row.content.get("corrects") else None
    reading = record_reading(
        sample=sample,
        characteristic=name,
        piece=piece,
        text=_text(row, "text", 60),
        unit=_text(row, "unit", 8),
        source=_source(row),
        by=row.by,
        at=row.made_at,
        confirmed=row.content.get("confirmed") is True,
        corrects=standing,
        reason=_text(row, "reason", 200),
    )
    return str(reading.pk), str(reading.outcome)


def _source(row: OfflineAct) -> str:
    """How the value came in, where the tablet said it."""
    return _text(row, "source", 16) if "source" in row.content else ""


def _pull(row: OfflineAct) -> Done:
    sample, piece = _sample(row), _number(row, "piece")
    standing = sample.pull_tests.standing().filter(piece=piece).first() if row.content.get("corrects") else None
    pull = record_pull(
        sample=sample,
        piece=piece,
        text=_text(row, "text", 60),
        unit=_text(row, "unit", 8),
        mode=_text(row, "mode", 40),
        source=_source(row),
        by=row.by,
        at=row.made_at,
        confirmed=row.content.get("confirmed") is True,
        corrects=standing,
        reason=_text(row, "reason", 200),
    )
    return str(pull.pk), str(pull.outcome)


def _visual(row: OfflineAct) -> Done:
    sample, answers = _sample(row), row.content.get("answers")
    if not isinstance(answers, list) or not answers or len(answers) > 100:
        raise Refused([misfit("offline.content", what="answers")])
    looks = []
    for one in answers:
        if not isinstance(one, Mapping) or not isinstance(one.get("criterion"), str) or not isinstance(one.get("accepted"), bool):
            raise Refused([misfit("offline.content", what="answers")])
        looks.append(Look(one["criterion"], one["accepted"], "" if one["accepted"] else str(one.get("note", ""))[:200]))
    if not row.content.get("corrects"):
        record_looks(sample=sample, looks=looks, by=row.by, at=row.made_at)
    for look in looks if row.content.get("corrects") else ():
        record_visual(
            sample=sample,
            criterion=look.criterion,
            accepted=look.accepted,
            note=look.note,
            by=row.by,
            at=row.made_at,
            corrects=sample.visual_findings.standing().filter(criterion=look.criterion).first(),
            reason=_text(row, "reason", 200),
        )
    rejected = any(not look.accepted for look in looks)
    return str(len(answers)), OutcomeText.DOES_NOT_CONFORM.value if rejected else OutcomeText.CONFORMS.value


def _cross_section(row: OfflineAct) -> Done:
    accepted = row.content.get("accepted")
    if not isinstance(accepted, bool):
        raise Refused([misfit("offline.content", what="accepted")])
    judge = _claimant(row)
    finding = judge_cross_section(
        sample=_sample(row),
        criterion=_text(row, "criterion", 80),
        accepted=accepted,
        note="" if accepted else _text(row, "note", 200),
        by=judge,
        at=row.made_at,
        signing=None,
        claim=Claim(row.received_at),
    )
    return str(finding.pk), OutcomeText.CONFORMS.value if accepted else OutcomeText.DOES_NOT_CONFORM.value


def _conclude(row: OfflineAct) -> Done:
    sample, shown = _sample(row), _text(row, "outcome", 20)
    found = sample_outcome(sample).value
    if shown and shown != found and not row.content.get("taken_over"):
        raise Refused([misfit("offline.outcome", shown=shown, found=found)])
    concluded = conclude_sample(sample=sample, by=row.by, at=row.made_at, claim=Claim(row.received_at))
    return str(concluded.pk), found


def _countersign(row: OfflineAct) -> Done:
    inspector = _claimant(row)
    sample = countersign_first_piece(sample=_sample(row), by=inspector, at=row.made_at, signing=None, claim=Claim(row.received_at))
    return str(sample.pk), SampleState(sample.state).value


def _hold(row: OfflineAct) -> Done:
    batch = _batch(row)
    held = raise_hold(batch=batch, reason=_text(row, "reason"), at_count=_number(row, "at_count"), by=row.by, at=row.made_at)
    return str(held.pk), ""


def _counts(row: OfflineAct) -> Done:
    """Only prepared: the page that closes the batch proposes them, and the operator signs there."""
    for name in ("made", "good", "scrap", "destroyed", "held"):
        _number(row, name)
    return str(pieces_tested(_batch(row))), ""


DEEDS: Mapping[str, Callable[[OfflineAct], Done]] = {
    OfflineKind.OPEN: _open,
    OfflineKind.SCAN: _scan,
    OfflineKind.START: _start,
    OfflineKind.READING: _reading,
    OfflineKind.PULL: _pull,
    OfflineKind.VISUAL: _visual,
    OfflineKind.CROSS_SECTION: _cross_section,
    OfflineKind.CONCLUDE: _conclude,
    OfflineKind.COUNTERSIGN: _countersign,
    OfflineKind.HOLD: _hold,
    OfflineKind.COUNTS: _counts,
}


def prepared_counts(batch: Batch) -> Mapping[str, Any]:
    """The counts that were prepared at a tablet without network, the newest; empty without any."""
    newest = batch.offline_acts.filter(kind=OfflineKind.COUNTS, set_aside=False).order_by("-pk").first()
    return newest.content if newest else {}


# --- Deciding ---------------------------------------------------------------------------------------------------------------------

HOLD_RULES = ("use.lot.state", "use.tool.state", "use.gauge.state")


def concerns_hold(act: OfflineAct) -> bool:
    """Whether the decision is quality's: the batch is on hold, or a lot, tool or gauge is."""
    on_hold = act.batch is not None and act.batch.status == BatchStatus.ON_HOLD
    return on_hold or any(f.rule in HOLD_RULES for f in findings_from_text(act.findings))


def may_decide(person: Person, act: OfflineAct) -> bool:
    return may(person, Deed.DECIDE_HOLD) or (person.pk == act.by_id and person.is_active and not concerns_hold(act))


def undecided_acts() -> list[OfflineAct]:
    """Every act that waits for a person, the oldest first."""
    rows = OfflineAct.objects.filter(set_aside=True, decision__isnull=True)
    return list(rows.select_related("batch__termination__sheet", "by", "sent_by", "follows").order_by("batch", "pk"))


def take_over(*, act: OfflineAct, by: Person, at: datetime, signing: Signing) -> list[OfflineAct]:
    """Record the act after all, as things are now, and then what only waited behind it, as far as that fits. Raises Refused.

    It stays the act of the person who made it, at the time it was made; the decision has a person and a time of its own.
    """
    with transaction.atomic():
        act, findings = _to_decide(act, by, signing, TAKEN_OVER_MEANING)
        refuse_if(findings)
        taken = [_take(act, by, at, signing)]
        # The followers were made at the same tablet in the same minutes; one signature covers what was shown with it.
        for follower in _after(act):
            try:
                with transaction.atomic():
                    taken.append(_take(follower, by, at, signing))
            except Refused:
                break
    return taken


def _take(act: OfflineAct, by: Person, at: datetime, signing: Signing) -> OfflineAct:
    if act.batch is None:
        act.batch = _batch_of(str(act.content.get("batch", "")))
    act.made_at = corrected(act.made_at, act.batch, at)  # of the act that is done now; the row itself never changes
    act.content = {**act.content, "taken_over": True}
    answer = _once(act, meanwhile=False, keep=False)
    OfflineDecision.objects.create(act=act, taken_over=True, result=answer.result, by=by, at=at)
    _publish_decision(act, "taken over", "", by, at, signing)
    return act


def keep_as_note(*, act: OfflineAct, reason: str, by: Person, at: datetime, signing: Signing, following: bool = False) -> list[OfflineAct]:
    """The act does not count: it stays readable, with the reason. following: so does everything that waits behind it."""
    with transaction.atomic():
        act, findings = _to_decide(act, by, signing, NOTE_MEANING)
        if not reason.strip():
            findings.append(misfit("offline.reason", "reason"))
        refuse_if(findings)
        kept = [act, *(_after(act) if following else [])]
        for one in kept:
            OfflineDecision.objects.create(act=one, taken_over=False, reason=reason.strip()[:300], by=by, at=at)
            _publish_decision(one, "kept as a note", reason.strip()[:300], by, at, signing)
    return kept


def _after(act: OfflineAct) -> list[OfflineAct]:
    """What waits behind an act: later ones of the same tablet on the same batch, set aside only because of it."""
    if act.batch_id is None:
        return []
    rows = OfflineAct.objects.filter(
        batch=act.batch_id, tablet=act.tablet, set_aside=True, decision__isnull=True, follows__isnull=False, pk__gt=act.pk
    )
    listed = []
    for row in rows.select_related("batch__termination__sheet", "by").order_by("pk"):
        if any(rule["rule"] != "offline.waits" for rule in row.findings):
            break
        listed.append(row)
    return listed


def followers_of(act: OfflineAct) -> list[OfflineAct]:
    """What one decision about this act covers besides it."""
    return _after(act)


def _publish_decision(act: OfflineAct, decision: str, reason: str, by: Person, at: datetime, signing: Signing) -> None:
    subject = batch_subject(act.batch) if act.batch else ("offline act", act.pk, act.key)
    content = {
        "kind": act.kind,
        "key": act.key,
        "content": act.content,
        "person": act.by.name,
        "made_at": act.made_at,
        "decision": decision,
        "reason": reason,
    }
    publish(OfflineActDecided(by=by, at=at, subject=subject, content=content, signing=signing))


def _to_decide(act: OfflineAct, by: Person, signing: Signing, meaning: str) -> tuple[OfflineAct, list[Finding]]:
    if act.batch_id is not None:
        Batch.objects.select_for_update().get(pk=act.batch_id)
    act = OfflineAct.objects.select_related("batch__termination__sheet", "by", "sent_by").get(pk=act.pk)
    findings = signing_findings(signing, by, meaning)
    if not may_decide(by, act):
        findings.append(misfit("offline.rights", person=by.name, person_of_act=act.by.name))
    if OfflineDecision.objects.filter(act=act).exists() or not act.set_aside:
        findings.append(misfit("offline.decided"))
    first = _undecided(act.batch, act.tablet) if act.batch else None
    if first is not None and first.pk < act.pk:
        findings.append(misfit("offline.order", before=str(first)))
    return act, findings
