"""Freezing the limits of a chart, what a sample signals on them, and what is done about it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from inspection.control import ChartSignal, ControlLimits, Reaction, ReactionCause
from inspection.events import ChartSignalled, LimitsEnded, LimitsFrozen, SignalAnswered
from inspection.models import Batch, Sample
from inspection.process.chart import ChartLimits, NotControlLimits
from inspection.process.run_rules import chart_signals, nelson, rules_as_text, rules_from_text, western_electric
from inspection.process.short_run import UnknownPart
from inspection.spc import NotFinite, TooFew
from inspection.streams import KIND_OF, SHORT_RUN_CHARTS, Stream, StreamChart, stream_chart, stream_of, stream_samples
from shop.canonical import content_sha256
from shop.events import Signing, publish
from shop.finding import Finding, Refused, misfit, refuse_if
from shop.jobs import Termination
from shop.people import Person
from shop.permissions import Deed, may, permission_findings
from shop.sign_on import signing_findings
from shop.tools import Tool
from shop.validation import clean

FROZEN_MEANING = "control limits in force"
ENDED_MEANING = "control limits ended"

LEAST_SAMPLES = 20
"""Fewer samples do not carry limits that are kept (common practice: 20 to 25)."""

RULES = {rule.code: rule for rule in (*nelson(), *western_electric())}
USUAL_RULES = ("nelson.1", "nelson.2", "nelson.3", "nelson.4")
"""Nelson 1984 proposes these four for routine use (from memory)."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """Limits computed from the samples of a stream in a span of time, ready to be seen and signed."""

    stream: Stream
    kind: str
    drawn: StreamChart
    rules: tuple[str, ...]
    since: datetime | None
    until: datetime | None

    @property
    def content(self) -> dict[str, Any]:
        """What the signature covers."""
        stream, chart = self.stream, self.drawn.chart
        return {
            "tool": stream.tool.asset_number,
            "terminal": stream.terminal.part_number if stream.terminal else "",
            "csa_mm2": "" if stream.csa_mm2 is None else f"{stream.csa_mm2.normalize():f}",
            "characteristic": stream.characteristic,
            "chart": self.kind,
            "limits": chart.limits.as_text(),
            "rules": list(self.rules),
            "samples": [
                {"batch": s.batch, "sample": s.number, "values": [one.text for one in s.values], "at": s.at} for s in self.drawn.samples
            ],
        }


def propose_limits(
    stream: Stream, kind: str, rules: Iterable[str], *, since: datetime | None = None, until: datetime | None = None
) -> Proposal:
    """Limits from the stream's samples taken after `since` up to `until`. Raises Refused for too few, or rules nobody knows."""
    codes = tuple(rules)
    findings = [misfit("control.rules", "rules", code=code, rules=", ".join(RULES)) for code in codes if code not in RULES]
    if kind not in KIND_OF or (stream.is_short_run and kind not in SHORT_RUN_CHARTS):
        asked = SHORT_RUN_CHARTS if stream.is_short_run else tuple(KIND_OF)
        findings.append(misfit("plan.chart.unknown", "chart", chart=kind, charts=", ".join(asked)))
    refuse_if(findings)
    samples = stream_samples(stream, since=since, until=until)
    if len(samples) < LEAST_SAMPLES:
        raise Refused([misfit("control.too_few", "", given=len(samples), needed=LEAST_SAMPLES)])
    try:
        drawn = stream_chart(samples, kind, short_run=stream.is_short_run)
    except TooFew as error:
        raise Refused([misfit("control.too_few", "", given=error.given, needed=error.needed)]) from error
    except (NotFinite, NotControlLimits, ValueError) as error:
        raise Refused([misfit("study.impossible", "", why=str(error))]) from error
    return Proposal(stream, kind, drawn, rules_of(codes), since, until)


def rules_of(codes: Iterable[str]) -> tuple[str, ...]:
    """The rules with their lengths as text, the usual four where none is named."""
    return tuple(rules_as_text(RULES[code] for code in (tuple(codes) or USUAL_RULES)))


def freeze_limits(*, proposal: Proposal, reason: str, by: Person, at: datetime, signing: Signing, seen_sha256: str) -> ControlLimits:
    """Put limits in force with a signature over them, the rules, and the samples they came from. From now on each sample is held against
    them. Raises Refused where others are in force, or a sample came in or was corrected since the limits were seen."""
    stream = proposal.stream
    with transaction.atomic():
        Tool.objects.select_for_update().get(pk=stream.tool.pk)
        findings = permission_findings(by, Deed.FREEZE_LIMITS) + signing_findings(signing, by, FROZEN_MEANING)
        if content_sha256(proposal.content) != seen_sha256:
            findings.append(misfit("sign.stale"))
        if not reason.strip():
            findings.append(misfit("control.reason", "reason"))
        if in_force(stream) is not None:
            findings.append(misfit("control.frozen"))
        refuse_if(findings)
        samples = proposal.drawn.samples
        limits = ControlLimits(
            tool=stream.tool,
            terminal=stream.terminal,
            csa_mm2=stream.csa_mm2,
            characteristic=stream.characteristic,
            chart=proposal.kind,
            limits=proposal.drawn.chart.limits.as_text(),
            rules=list(proposal.rules),
            basis={
                "samples": len(samples),
                "first": f"{samples[0].label} {samples[0].at.isoformat()}",
                "last": f"{samples[-1].label} {samples[-1].at.isoformat()}",
                "sha256": seen_sha256,
            },
            reason=reason.strip(),
            frozen_by=by,
            frozen_at=at,
        )
        clean(limits)
        limits.save(force_insert=True)
        content = {**proposal.content, "reason": reason.strip()}
        publish(LimitsFrozen(by=by, at=at, subject=limits_subject(limits), content=content, signing=signing))
    return limits


def limits_subject(limits: ControlLimits) -> tuple[str, int, str]:
    return ("control limits", limits.pk, str(limits)[:120])


def end_limits(*, limits: ControlLimits, reason: str, by: Person, at: datetime, signing: Signing) -> ControlLimits:
    """Take limits out of force. What they signalled stays on record."""
    with transaction.atomic():
        limits = ControlLimits.objects.select_for_update(of=("self",)).select_related("tool", "terminal").get(pk=limits.pk)
        findings = permission_findings(by, Deed.FREEZE_LIMITS) + signing_findings(signing, by, ENDED_MEANING)
        if limits.ended_at is not None:
            findings.append(misfit("control.ended"))
        if not reason.strip():
            findings.append(misfit("control.reason", "reason"))
        refuse_if(findings)
        limits.ended_by, limits.ended_at, limits.ended_because = by, at, reason.strip()
        limits.save(update_fields=["ended_by", "ended_at", "ended_because"])
        content = {"limits": str(limits), "frozen_at": limits.frozen_at, "reason": limits.ended_because}
        publish(LimitsEnded(by=by, at=at, subject=limits_subject(limits), content=content, signing=signing))
    return limits


def in_force(stream: Stream) -> ControlLimits | None:
    """The limits of exactly this stream that are in force."""
    rows = ControlLimits.objects.filter(tool=stream.tool, characteristic=stream.characteristic, ended_at__isnull=True)
    return rows.filter(terminal=stream.terminal, csa_mm2=stream.csa_mm2).select_related("tool", "terminal").first()


# --- Signals ---------------------------------------------------------------------------------------------------------------------


def limits_watching(termination: Termination) -> list[ControlLimits]:
    """Every frozen chart that the measurements of a termination belong to: its own and the tool's short-run charts."""
    if termination.tool_id is None:
        return []
    own = Q(terminal=termination.terminal_id, csa_mm2=termination.csa_mm2) | Q(terminal__isnull=True)
    return list(ControlLimits.objects.filter(own, tool=termination.tool_id, ended_at__isnull=True).select_related("tool", "terminal"))


def raise_signals(*, sample: Sample, by: Person, at: datetime) -> list[ChartSignal]:
    """Part of concluding a sample: hold it against every frozen chart it belongs to. The caller holds the lock on the batch."""
    raised = []
    for limits in limits_watching(sample.batch.termination):
        raised += _signals_on(limits, sample, at)
    if raised:
        ChartSignal.objects.bulk_create(raised)
        content = {
            "batch": sample.batch.number,
            "sample": sample.number,
            "signals": [{"characteristic": s.characteristic, "panel": s.panel, "rule": s.rule, "points": s.points} for s in raised],
        }
        publish(ChartSignalled(by=by, at=at, subject=("sample", sample.pk, str(sample)), content=content))
    return raised


def _signals_on(limits: ControlLimits, sample: Sample, at: datetime) -> list[ChartSignal]:
    stream = stream_of(limits)
    samples = stream_samples(stream, since=limits.frozen_at)
    if not samples or samples[-1].pk != sample.pk:
        return []  # the sample carries nothing of this characteristic
    try:
        drawn = stream_chart(samples, limits.chart, ChartLimits.from_text(limits.limits), short_run=stream.is_short_run)
    except UnknownPart:
        return []  # a part that was never made when the limits were frozen: the chart page says so
    own = [place for place, index in enumerate(drawn.places) if index == len(samples) - 1]
    found = []
    for panel, by_rule in zip(drawn.chart.panels, chart_signals(drawn.chart, rules_from_text(limits.rules), newest=len(own)), strict=True):
        for signals in by_rule:
            completing = [int(point) for point in signals.at if int(panel.samples[int(point)]) in own]
            if completing:
                points = sorted({samples[drawn.places[int(panel.samples[p])]].label for p in signals.run(completing[-1])})
                found.append(
                    ChartSignal(
                        batch=sample.batch,
                        sample=sample,
                        limits=limits,
                        characteristic=limits.characteristic,
                        panel=str(panel.place),
                        rule=signals.rule.code,
                        points=points,
                        at=at,
                    )
                )
    # The two sums of a CUSUM chart share a place: one signal for both.
    return list({(signal.panel, signal.rule): signal for signal in found}.values())


def open_signals(batch: Batch) -> list[ChartSignal]:
    """Signals of the charts that watch this batch and that nobody has answered yet."""
    watching = [limits.pk for limits in limits_watching(batch.termination)]
    rows = ChartSignal.objects.filter(limits__in=watching, reaction__isnull=True).select_related("sample__batch", "limits")
    return list(rows)


def reaction_findings(batch: Batch) -> list[Finding]:
    """Empty, or what has to be answered before the next sample is taken."""
    return [misfit("control.reaction", "", characteristic=s.characteristic, sample=str(s.sample), code=s.rule) for s in open_signals(batch)]


def answer_signals(*, signals: Sequence[ChartSignal], cause: str, text: str, by: Person, at: datetime) -> list[Reaction]:
    """Say what was found and done about signals of one batch. One answer may serve several: they often have one cause."""
    with transaction.atomic():
        locked = list(ChartSignal.objects.select_related("sample__batch").filter(pk__in=[signal.pk for signal in signals]).order_by("pk"))
        Batch.objects.select_for_update().filter(pk__in={signal.batch_id for signal in locked}).first()
        findings = [] if may(by, Deed.COUNTERSIGN) else permission_findings(by, Deed.RUN_BATCH)
        if not locked or Reaction.objects.filter(signal__in=locked).exists():
            findings.append(misfit("control.reaction.once"))
        if cause not in ReactionCause.values or not text.strip():
            findings.append(misfit("control.reaction.text", "text" if not text.strip() else "cause"))
        refuse_if(findings)
        reactions = Reaction.objects.bulk_create(Reaction(signal=s, cause=cause, text=text.strip(), by=by, at=at) for s in locked)
        content = {
            "signals": [{"sample": str(s.sample), "characteristic": s.characteristic, "rule": s.rule} for s in locked],
            "cause": cause,
            "text": text.strip(),
        }
        sample = locked[-1].sample
        publish(SignalAnswered(by=by, at=at, subject=("sample", sample.pk, str(sample)), content=content))
    return list(reactions)
