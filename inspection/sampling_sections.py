"""What sampling plans do, in words, figures and drawings: for the pages of schemes and for the planning page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

import numpy as np
from django.utils.translation import gettext as _

from inspection.analysis import Column, Fact, Figure, Section, Table
from inspection.drawing.primitives import Axis, Level
from inspection.drawing.scatter import Curve, curves_chart
from inspection.sampling.design import SequentialPlan, sequential_curves
from inspection.sampling.oc import (
    Model,
    Stop,
    aoq,
    aoql,
    asn,
    ati,
    most_nonconforming_at,
    oc_curve,
    pa_binomial,
    pa_poisson,
    quality_at,
)
from inspection.sampling.switching import BACK_TO_NORMAL, LOTS_TO_REDUCED, SCORE_TO_REDUCED, Route, Standing, State, Why
from inspection.study_kinds.words import figure

CHANCES = (0.99, 0.95, 0.90, 0.75, 0.50, 0.25, 0.10, 0.05, 0.01)


def share(value: float) -> str:
    """A probability or share, as percent with four significant digits."""
    return figure(100 * value)


def state_word(state: State | str) -> str:
    return {
        State.NORMAL: _("normal"),
        State.TIGHTENED: _("tightened"),
        State.REDUCED: _("reduced"),
        State.DISCONTINUED: _("discontinued"),
    }[State(state)]


def why_word(why: Why | None, start: str) -> str:
    """Why inspection stands where it does."""
    if why is None:
        return _("as the scheme began, on {severity}").format(severity=state_word(start))
    return {
        Why.TWO_OF_FIVE: _("two of five lots in a row, or fewer, were not accepted"),
        Why.FIVE_ACCEPTED: _("five lots in a row were accepted on tightened"),
        Why.TEN_ACCEPTED: _("ten lots in a row were accepted, within the limit number"),
        Why.SCORE: _("the switching score reached {score}").format(score=SCORE_TO_REDUCED),
        Why.NOT_ACCEPTED: _("a lot was not accepted on reduced"),
        Why.BETWEEN: _("a lot on reduced lay between acceptance and rejection number"),
        Why.IRREGULAR: _("production was irregular"),
        Why.FIVE_ON_TIGHTENED: _("five lots were not accepted on tightened"),
    }[why]


def outlook(now: Standing, route: str) -> list[str]:
    """What would switch next, in sentences."""
    match now.state:
        case State.DISCONTINUED:
            return [_("Nothing is accepted until quality ends this scheme and opens one that starts on tightened.")]
        case State.TIGHTENED:
            return [
                _("{count} more accepted in a row lead back to normal ({run} of {all} so far).").format(
                    count=now.accepted_to_switch, run=now.accepted_run, all=BACK_TO_NORMAL
                ),
                _("{count} more not accepted stop acceptance.").format(count=now.not_accepted_to_switch),
            ]
        case State.REDUCED:
            return [_("A lot not accepted, a lot between the two numbers, or irregular production leads back to normal.")]
    told = [
        _("One more lot not accepted, soon enough, leads to tightened.")
        if now.not_accepted_to_switch == 1
        else _("Two lots not accepted within five lead to tightened.")
    ]
    if route == Route.SCORE:
        told.append(_("A switching score of {need} leads to reduced; it is {score}.").format(need=SCORE_TO_REDUCED, score=now.score))
    elif route == Route.LIMIT_NUMBERS:
        told.append(_to_reduced(now))
    return told


def _to_reduced(now: Standing) -> str:
    if now.accepted_run < LOTS_TO_REDUCED:
        return _("{count} more accepted in a row may lead to reduced.").format(count=LOTS_TO_REDUCED - now.accepted_run)
    if now.limit is None:
        return _("Enough lots were accepted for reduced, but their samples hold too few pieces to tell, or production was irregular.")
    return _("Enough lots were accepted for reduced, but {found} found in them are more than {limit}.").format(
        found=now.found, limit=now.limit
    )


# --- One plan --------------------------------------------------------------------------------------------------------------------


def plan_sections(
    n: int, c: int, *, lot_size: int | None = None, pieces: bool = True, marks: Sequence[tuple[float, str]] = ()
) -> list[Section]:
    """What a plan does: chances of acceptance and what follows. c: the most found with which a lot is accepted.

    pieces: nonconforming pieces are counted (binomial), else nonconformities (Poisson). marks: incoming qualities (shares) with a word.
    """
    if c >= n and pieces:
        return [
            Section(_("What the plan does"), notes=(_("So few are looked at that the plan refuses nothing: it only keeps the lot known."),))
        ]
    model = Model.BINOMIAL if pieces else Model.POISSON
    sections = [_chances(n, c, model, lot_size, marks)]
    if lot_size is not None and n < lot_size:
        sections.append(_sorted_lots(n, c, model, lot_size))
    if pieces:
        sections.append(_looked_at(n, c))
    return sections


def _unit(model: Model) -> str:
    return _("nonconformities per 100 units") if model is Model.POISSON else _("% nonconforming")


def _chances(n: int, c: int, model: Model, lot_size: int | None, marks: Sequence[tuple[float, str]]) -> Section:
    unit = _unit(model)
    rows = tuple((f"{100 * pa:g} %", share(quality_at(pa, n, c, model=model))) for pa in CHANCES)
    table = Table(
        _("Incoming quality that is accepted with each chance"),
        (Column(_("Chance of acceptance"), figure=False), Column(unit)),
        rows,
    )
    x = oc_curve(n, c, model=model, points=121)
    levels = [Level(Decimal("0.95"), "", "nominal"), Level(Decimal("0.10"), "", "nominal")]
    curves = [Curve((100 * x.x).tolist(), x.y.tolist(), _("from a process"))]
    notes = [
        _("Lots from a process: binomial.") if model is Model.BINOMIAL else _("Nonconformities: Poisson."),
        _("Source: MIL-STD-105E, Table X prints the same for its plans; NIST/SEMATECH e-Handbook 6.2.3."),
    ]
    facts = [
        Fact(_("Accepted 95 times in 100 at"), share(quality_at(0.95, n, c, model=model)), unit),
        Fact(_("Accepted 10 times in 100 at"), share(quality_at(0.10, n, c, model=model)), unit),
    ]
    if model is Model.BINOMIAL and lot_size is not None and n <= lot_size <= 100_000:
        one = oc_curve(n, c, model=Model.HYPERGEOMETRIC, lot_size=lot_size, upto=min(float(x.x[-1]), 1.0), points=121)
        curves.append(Curve((100 * one.x).tolist(), one.y.tolist(), _("one lot"), dash="2 3"))
        most = most_nonconforming_at(0.95, lot_size, n, c)
        facts.append(
            Fact(_("In one lot of {size}").format(size=lot_size), str(most), _("nonconforming pieces"), note=_("accepted 95 times in 100"))
        )
        notes.append(_("One lot of this size: hypergeometric, dotted."))
    svg = curves_chart(
        curves,
        x=Axis(_("incoming"), unit, low=0.0),
        y=Axis(_("chance"), low=0.0, high=1.0),
        title=_("Chance of acceptance"),
        levels=levels,
        uprights=[Level(100 * at, word, "nominal") for at, word in marks if 100 * at <= 100 * float(x.x[-1])],
    )
    return Section(_("What the plan accepts"), facts=tuple(facts), figures=(Figure(_("OC curve"), svg, "", table),), notes=tuple(notes))


def _sorted_lots(n: int, c: int, model: Model, lot_size: int) -> Section:
    unit = _unit(model)
    worst = aoql(n, c, lot_size=lot_size, model=model)
    x = np.linspace(0, quality_at(0.01, n, c, model=model), 121)
    chance = pa_poisson(x, n, c) if model is Model.POISSON else pa_binomial(x, n, c)
    outgoing, total = aoq(x, chance, n, lot_size), ati(chance, n, lot_size)
    every = slice(None, None, 12)
    table = Table(
        _("Where refused lots are sorted"),
        (Column(_("Incoming, {unit}").format(unit=unit)), Column(_("Outgoing")), Column(_("Looked at, pieces a lot"))),
        tuple(
            (share(a), share(b), figure(t, 5)) for a, b, t in zip(x[every], outgoing[every], total[every], strict=True)
        ),
    )  # fmt: skip
    quality = curves_chart(
        [Curve((100 * x).tolist(), (100 * outgoing).tolist(), _("outgoing"))],
        x=Axis(_("incoming"), unit, low=0.0),
        y=Axis(_("outgoing"), unit, low=0.0),
        title=_("Average outgoing quality"),
        levels=[Level(100 * worst.aoql, _("at worst"), "control")],
    )
    effort = curves_chart(
        [Curve((100 * x).tolist(), total.tolist(), _("a lot"))],
        x=Axis(_("incoming"), unit, low=0.0),
        y=Axis(_("looked at"), _("pieces"), low=0.0, high=float(lot_size)),
        title=_("Average total inspection"),
    )
    facts = (Fact(_("Outgoing at worst (AOQL)"), share(worst.aoql), unit, note=_("at {at} incoming").format(at=share(worst.at))),)
    notes = (
        _("Holds where refused lots are sorted and what is found is replaced: AOQ = Pa p (N - n)/N, ATI = n + (1 - Pa)(N - n)."),
        _("Source: NIST/SEMATECH e-Handbook 6.2.3, from memory."),
    )
    figures = (Figure(_("Outgoing quality"), quality, "", table), Figure(_("Total inspection"), effort, "", None))
    return Section(_("Where refused lots are sorted"), facts=facts, figures=figures, notes=notes)


def _looked_at(n: int, c: int) -> Section:
    x = np.linspace(0, min(quality_at(0.001, n, c), 1.0), 121)
    curves = [
        Curve((100 * x).tolist(), asn(x, n, c, Stop.REFUSED).tolist(), _("until refused")),
        Curve((100 * x).tolist(), asn(x, n, c, Stop.DECIDED).tolist(), _("until decided"), dash="2 3"),
    ]
    svg = curves_chart(
        curves,
        x=Axis(_("incoming"), _("% nonconforming"), low=0.0),
        y=Axis(_("looked at"), _("pieces"), low=0.0),
        title=_("Average sample number where looking stops early"),
        levels=[Level(n, _("whole sample"), "nominal")],
    )
    every = slice(None, None, 12)
    table = Table(
        _("Average sample number"),
        (Column(_("Incoming, %")), Column(_("Until refused")), Column(_("Until decided"))),
        tuple((share(p), figure(curves[0].y[i], 5), figure(curves[1].y[i], 5)) for i, p in list(enumerate(x))[every]),
    )
    note = _("The records of this program are of whole samples, so that the percentage found can be estimated without bias.")
    return Section(_("How many are looked at"), figures=(Figure(_("ASN curve"), svg, note, table),))


def sequential_section(plan: SequentialPlan) -> Section:
    """A sequential plan for the same risks: its lines, OC and ASN."""
    top = math.ceil(2.2 * max(plan.asn(plan.slope), plan.fewest_to_accept))
    n = [0.0, float(top)]
    lines = curves_chart(
        [
            Curve(n, [plan.h2 + plan.slope * one for one in n], _("refuse")),
            Curve(n, [-plan.h1 + plan.slope * one for one in n], _("accept"), dash="7 3"),
        ],
        x=Axis(_("looked at"), _("pieces"), low=0.0),
        y=Axis(_("found nonconforming"), low=0.0),
        title=_("Accept at or below one line, refuse at or above the other"),
    )
    x = np.linspace(0, min(1.6 * plan.p2, 1.0), 81)
    chance, number = sequential_curves(plan, x)
    effort = curves_chart(
        [Curve((100 * x).tolist(), number.y.tolist(), _("on average"))],
        x=Axis(_("incoming"), _("% nonconforming"), low=0.0),
        y=Axis(_("looked at"), _("pieces"), low=0.0),
        title=_("Average sample number"),
    )
    at = sorted({1, *(round(top * part / 10) for part in range(1, 11))})
    table = Table(
        _("Acceptance and rejection numbers"),
        (Column(_("Looked at")), Column(_("Accept at")), Column(_("Refuse at"))),
        tuple((str(k), _dash(plan.acceptance_number(k)), _dash(plan.rejection_number(k))) for k in at),
    )
    curve_table = Table(
        _("Chances and numbers"),
        (Column(_("Incoming, %")), Column(_("Accepted, %")), Column(_("Looked at, pieces"))),
        tuple((share(x[i]), share(chance.y[i]), figure(number.y[i])) for i in range(0, len(x), 8)),
    )
    facts = (
        Fact(_("Acceptance line"), f"-{figure(plan.h1)} + {figure(plan.slope)} n"),
        Fact(_("Rejection line"), f"{figure(plan.h2)} + {figure(plan.slope)} n"),
    )
    notes = (_("Source: Wald 1947; NIST/SEMATECH e-Handbook 6.2.6, from memory. The averages leave out that the lines are overshot."),)
    figures = (Figure(_("Lines"), lines, "", table), Figure(_("ASN curve"), effort, "", curve_table))
    return Section(_("The same risks piece by piece"), facts=facts, figures=figures, notes=notes)


def _dash(number: int | None) -> str:
    return "–" if number is None else str(number)
