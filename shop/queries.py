"""What the plan's pages show, read in one go and decided before the template sees it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Count, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from shop.crib import Press
from shop.current_words import AdviceWords, advice_words
from shop.facts import advice_on
from shop.figures import show_area, show_force, show_length
from shop.finding import Finding, Verdict
from shop.fit import CircuitFacts
from shop.jobs import Job, SetupSheet, SheetStatus, Termination
from shop.materials import Terminal, Wire
from shop.planning import TerminationCheck, plan_for, press_offers, tool_offers
from shop.press_fit import TOOLS_FOR_A_PRESS
from shop.quantity import System
from shop.rechecks import SheetFlag
from shop.specifications import CrimpSpecification
from shop.templatetags.shop import figure
from shop.tools import Tool, ToolState
from shop.wording import Worded, worded

# --- Lists -----------------------------------------------------------------------------------------------------------------------


def jobs_for(words: str, state: str) -> QuerySet[Job]:
    """Jobs with their newest sheets. state: a sheet status, "none" for jobs without a sheet, or "" for all."""
    newest_first = SetupSheet.objects.order_by("number", "-revision")
    rows = Job.objects.select_related("customer").prefetch_related(Prefetch("sheets", newest_first, to_attr="sheets_newest_first"))
    for word in words.split():
        rows = rows.filter(
            Q(number__icontains=word)
            | Q(part_number__icontains=word)
            | Q(part_name__icontains=word)
            | Q(customer__name__icontains=word)
            | Q(purchase_order__icontains=word)
        )
    if state == "none":
        rows = rows.filter(sheets__isnull=True)
    elif state:
        rows = rows.filter(pk__in=SetupSheet.objects.filter(status=state).values("job"))
    return rows.order_by("-opened_at", "number")


def sheets_for(words: str, state: str, author: str) -> QuerySet[SetupSheet]:
    # A subquery, not a join: it is counted for the rows of one page, not for all before they are cut.
    flags = SheetFlag.objects.filter(sheet=OuterRef("pk"), cleared_at__isnull=True).order_by().values("sheet").annotate(n=Count("pk"))
    rows = SetupSheet.objects.select_related("job__customer", "author", "released_by").annotate(open_flags=Subquery(flags.values("n")))
    for word in words.split():
        rows = rows.filter(Q(number__icontains=word) | Q(job__number__icontains=word) | Q(job__part_number__icontains=word))
    if state:
        rows = rows.filter(status=state)
    if author:
        rows = rows.filter(author__username=author)
    return rows.order_by("-drafted_at", "number")


@dataclass(frozen=True, slots=True)
class SheetLine:
    """flags: what a re-check holds against it, in a few words; empty where nothing is known."""

    label: str
    url: str
    status: str
    outcome: str
    flags: str = ""


def sheet_line(sheet: SetupSheet) -> SheetLine:
    outcome = {SheetStatus.RELEASED: "conforms", SheetStatus.WITHDRAWN: "does not conform"}.get(SheetStatus(sheet.status), "waiting")
    count: int = getattr(sheet, "open_flags", None) or 0
    flags = ngettext("would not be released today: %(count)s flag", "would not be released today: %(count)s flags", count) % {
        "count": count
    }
    if not count or not sheet.is_released:
        flags = ""
    return SheetLine(str(sheet), reverse("plan:sheet", args=[sheet.pk]), sheet.get_status_display(), outcome, flags)


@dataclass(frozen=True, slots=True)
class JobLine:
    job: Job
    url: str
    sheets: list[SheetLine]


def job_line(job: Job) -> JobLine:
    """A job with its sheets, the newest revision of each only."""
    newest: dict[str, SetupSheet] = {}
    for sheet in getattr(job, "sheets_newest_first", []):
        newest.setdefault(sheet.number, sheet)
    return JobLine(job, reverse("plan:job", args=[job.pk]), [sheet_line(sheet) for sheet in newest.values()])


# --- Six parts -------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Part:
    """One of the six parts as `_six_parts.html` draws it."""

    code: str
    name: str
    state: str
    state_word: str
    evidence: list[str]


_FIELDS = {"wire": ("wires",), "terminal": ("terminal",), "tool": ("tool", "press"), "documents": ("specification",)}


def sheet_parts(sheet: SetupSheet, checks: Sequence[TerminationCheck]) -> list[Part]:
    """Which parts of the proof the plan holds, and which a misfit breaks."""
    terminations = [check.termination for check in checks]
    blocking = [finding for check in checks for finding in check.blocking]

    def fit(code: str, name: str, evidence: Iterable[str]) -> Part:
        broken = [finding for finding in blocking if finding.field in _FIELDS[code]]
        if not terminations:
            return Part(code, name, "open", _("nothing planned"), [])
        if any(finding.verdict == "misfit" for finding in broken):
            return Part(code, name, "failed", _("does not fit"), [*dict.fromkeys(worded(finding).title for finding in broken)])
        if broken:
            return Part(code, name, "undecided", _("cannot be decided"), [*dict.fromkeys(worded(finding).title for finding in broken)])
        return Part(code, name, "proven", _("fits"), _few(evidence))

    people = [_("drafted by {name}").format(name=sheet.author.name)]
    if sheet.released_by:
        people.append(_("released by {name}").format(name=sheet.released_by.name))
    released = Part("people", _("People"), "proven", _("two people"), people)
    pulls = sum(t.first_piece_pulls for t in terminations)
    heights = sum(t.first_piece_heights for t in terminations)
    planned = [_("first pieces: {counts}").format(counts=_counts(heights, pulls))]
    return [
        released if sheet.released_by else Part("people", _("People"), "open", _("waits for release"), people),
        fit("wire", _("Wire"), (wire.part_number for t in terminations for wire in t.ordered_wires())),
        fit("terminal", _("Terminal"), (t.terminal.part_number for t in terminations)),
        fit("tool", _("Tool"), (t.tool.asset_number for t in terminations if t.tool)),
        fit("documents", _("Documents"), (str(t.specification.document) for t in terminations if t.specification)),
        Part("inspection", _("Inspection"), "open", _("planned"), planned)
        if terminations
        else Part("inspection", _("Inspection"), "open", _("nothing planned"), []),
    ]


def _counts(heights: int, pulls: int) -> str:
    parts = [ngettext("%(count)s pull", "%(count)s pulls", pulls) % {"count": pulls}]
    if heights:
        parts.insert(0, ngettext("%(count)s height", "%(count)s heights", heights) % {"count": heights})
    return ", ".join(parts)


EVIDENCE_SHOWN = 4


def _few(evidence: Iterable[str]) -> list[str]:
    lines = list(dict.fromkeys(evidence))
    rest = len(lines) - EVIDENCE_SHOWN
    return [*lines[:EVIDENCE_SHOWN], _("and {count} more").format(count=rest)] if rest > 0 else lines


# --- Terminations ----------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Target:
    """One target: the value aimed at, and its limits."""

    label: str
    value: str
    limits: str
    source: str = ""


def targets_of(item: Termination | CrimpSpecification, system: System) -> list[Target]:
    """The targets that are stated, in the order in which they are measured."""
    made = []
    for label, name in (
        (_("Crimp height"), "crimp_height"),
        (_("Crimp width"), "crimp_width"),
        (_("Insulation crimp height"), "insulation_height"),
        (_("Strip length"), "strip_length"),
        (_("Bell mouth"), "bell_mouth"),
        (_("Conductor brush"), "brush"),
    ):
        low, high = getattr(item, f"{name}_min_mm"), getattr(item, f"{name}_max_mm")
        nominal = getattr(item, f"{name}_nominal_mm", None)
        if low is not None or high is not None or nominal is not None:
            made.append(Target(label, _length(nominal, system), _limits(low, high, system)))
    if item.cut_off_tab_max_mm is not None:
        made.append(Target(_("Cut-off tab"), "", _("at most {length}").format(length=show_length(item.cut_off_tab_max_mm, system))))
    if item.resistance_max_mohm is not None:
        made.append(Target(_("Resistance"), "", _("at most {value} mΩ").format(value=figure(item.resistance_max_mohm))))
    low, high = item.compaction_min_pct, item.compaction_max_pct
    if low is not None or high is not None:
        made.append(Target(_("Compaction"), "", _("{low} to {high} %").format(low=figure(low) or "0", high=figure(high) or "100")))
    if item.pull_force_min_n is not None:
        least = _("at least {force}").format(force=show_force(item.pull_force_min_n, system))
        made.append(Target(_("Pull force"), "", least, item.pull_force_source))
    return made


def _length(value: Decimal | None, system: System) -> str:
    return show_length(value, system) if value is not None else ""


def _limits(low: Decimal | None, high: Decimal | None, system: System) -> str:
    if low is not None and high is not None:
        return _("{low} to {high}").format(low=show_length(low, system).partition(" ")[0], high=show_length(high, system))
    return _length(low, system) or _length(high, system)


@dataclass(frozen=True, slots=True)
class TerminationRow:
    """One termination as a line of the sheet."""

    pk: int
    position: int
    lead: str
    end: str
    circuit: str
    quantity: int
    wires: list[str]
    area: str
    terminal: str
    tool: str
    setting: str
    press: str
    height: str
    height_limits: str
    force: str
    force_source: str
    plan: list[str]
    blocking: list[Worded]
    outcome: str
    word: str
    edit_url: str


def termination_row(check: TerminationCheck, system: System, *, editable: bool) -> TerminationRow:
    t = check.termination
    blocking = [worded(finding) for finding in check.blocking]
    outcome, word = _outcome(check.findings)
    spec_height = next((target for target in targets_of(t, system) if target.label == _("Crimp height")), None)
    plan = [
        _("first: {counts}").format(counts=_counts(t.first_piece_heights, t.first_piece_pulls)),
        _("{size} of every {every}").format(size=t.sample_size, every=t.sample_every),
        *([_("and every {minutes} min").format(minutes=t.sample_every_minutes)] if t.sample_every_minutes else []),
        _("last: {counts}").format(counts=_counts(0, t.last_piece_pulls)),
    ]
    if t.cross_sections:
        plan.insert(1, ngettext("%(count)s cross-section", "%(count)s cross-sections", t.cross_sections) % {"count": t.cross_sections})
    if t.inspector_signs:
        plan.append(_("inspector countersigns"))
    return TerminationRow(
        pk=t.pk,
        position=t.position,
        lead=t.lead,
        end=t.end,
        circuit=t.circuit,
        quantity=t.quantity,
        wires=[wire.part_number for wire in t.ordered_wires()],
        area=show_area(t.csa_mm2, system),
        terminal=t.terminal.part_number,
        tool=t.tool.asset_number if t.tool else "",
        setting=t.setting,
        press=t.press.asset_number if t.press else "",
        height=spec_height.value if spec_height else "",
        height_limits=spec_height.limits if spec_height else "",
        force=show_force(t.pull_force_min_n, system) if t.pull_force_min_n is not None else "",
        force_source=t.pull_force_source,
        plan=plan,
        blocking=blocking,
        outcome=outcome,
        word=word,
        edit_url=reverse("plan:termination", args=[t.sheet_id, t.pk]) if editable else "",
    )


def _outcome(findings: Iterable[Finding]) -> tuple[str, str]:
    """The worst verdict of several, and its word."""
    verdicts = {finding.verdict for finding in findings}
    if Verdict.MISFIT in verdicts:
        return "misfit", _("does not fit")
    if Verdict.UNDECIDABLE in verdicts:
        return "undecidable", _("cannot be decided")
    return ("conceded", _("conceded")) if Verdict.CONCEDED in verdicts else ("fits", _("fits"))


# --- Fit -------------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Offer:
    """A tool or press that fits, to be picked."""

    asset_number: str
    kind: str
    setting: str
    state: str  # empty when available today; the plan does not judge it, the press will
    is_chosen: bool


@dataclass(frozen=True, slots=True)
class Misfit:
    """A tool or press that does not fit, and why."""

    asset_number: str
    kind: str
    reasons: list[str]


@dataclass(frozen=True, slots=True)
class Presses:
    """Which presses take the tool picked. asked: whether the tool goes into a press at all."""

    asked: bool = False
    offers: tuple[Offer, ...] = ()
    others: tuple[Misfit, ...] = ()


@dataclass(frozen=True, slots=True)
class Fit:
    """The engine's answer while a planner picks. is_known: whether a wire and a terminal are picked at all."""

    is_known: bool
    findings: list[Worded]
    offers: list[Offer]
    others: list[Misfit]
    presses: Presses
    documents: list[Worded]
    specification: str
    document: str
    targets: list[Target]
    outcome: str
    word: str
    advice: AdviceWords | None = None


NOTHING_PICKED = Fit(False, [], [], [], Presses(), [], "", "", [], "waiting", "")


def fit_of(
    wires: Sequence[Wire],
    terminal: Terminal | None,
    tool: Tool | None,
    circuit: CircuitFacts,
    on: date,
    system: System,
    *,
    press: Press | None = None,
    dipped_end: bool = False,
    current_a: Decimal | None = None,
) -> Fit:
    """Wires and terminal held against every rule of planning, every tool, and every press; the targets of the specification in force."""
    if not wires or terminal is None:
        return NOTHING_PICKED
    fitting, others = tool_offers(wires, terminal, on)
    if tool is None and len(fitting) == 1:
        tool = fitting[0].tool  # one only: there is nothing to choose
    chosen = next((offer.tool for offer in fitting if tool and offer.tool.pk == tool.pk), None)
    presses = _presses(chosen, terminal, press, on)
    named = press if any(offer.is_chosen for offer in presses.offers) else None
    plan = plan_for(wires, terminal, chosen, on, circuit, press=named, dipped_end=dipped_end)
    barrel = [finding for finding in plan.findings if finding.field not in ("tool", "press", "specification")]
    papers = [finding for finding in plan.findings if finding.field == "specification"]
    spec = CrimpSpecification.objects.select_related("document").filter(pk=plan.specification_id or 0).first()
    fits = bool(fitting) and not plan.blocking
    return Fit(
        is_known=True,
        findings=_worst_first(barrel),
        offers=[_offer(offer.tool, offer.setting, offer.tool == chosen) for offer in fitting],
        others=[_misfit(offer.tool, offer.findings) for offer in others],
        presses=presses,
        documents=[worded(finding) for finding in papers if finding.blocks],
        specification=str(spec) if spec else "",
        document=str(spec.document) if spec else "",
        targets=targets_of(spec, system) if spec else [],
        outcome="fits" if fits else "misfit",
        word=_("Wire, terminal, tool and documents fit.") if fits else _("This does not fit together yet."),
        advice=advice_words(advice_on(current_a, wires, terminal)) if current_a else None,
    )


def _presses(tool: Tool | None, terminal: Terminal, chosen: Press | None, on: date) -> Presses:
    if tool is None or tool.kind not in TOOLS_FOR_A_PRESS:
        return Presses()
    fitting, others = press_offers(tool, terminal, on)
    return Presses(
        True,
        tuple(_offer(offer.press, offer.press.mount, offer.press == chosen) for offer in fitting),
        tuple(_misfit(offer.press, offer.findings) for offer in others),
    )


def _offer(thing: Tool | Press, setting: str, is_chosen: bool) -> Offer:
    today = "" if thing.state == ToolState.AVAILABLE else thing.get_state_display()
    return Offer(thing.asset_number, thing.get_kind_display(), setting, today, is_chosen)


def _misfit(thing: Tool | Press, findings: Iterable[Finding]) -> Misfit:
    return Misfit(thing.asset_number, thing.get_kind_display(), [worded(f).what for f in findings if f.blocks])


def _worst_first(findings: Iterable[Finding]) -> list[Worded]:
    return [worded(finding) for finding in sorted(findings, key=lambda finding: not finding.blocks)]
