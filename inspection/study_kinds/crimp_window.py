"""Crimps at stepped heights: pull force, resistance and compaction over height, and the window in which single pieces keep every limit."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inspection.analysis import Analysis, Cell, Column, Fact, Figure, Layout, LayoutRow, Section, Table
from inspection.drawing.primitives import Axis, Level
from inspection.drawing.scatter import Curve, Spot, Stretch, scatter
from inspection.studies.crimp_window import Asked, Fitted, Reason, Response, WindowStudy, crimp_window
from inspection.study_kinds.kind import Parameter, StudyInput, StudyKind
from inspection.study_kinds.words import exact, figure, refused_as_findings
from shop.finding import Refused, misfit

UNITS = {Response.PULL_FORCE: "N", Response.RESISTANCE: "mΩ", Response.COMPACTION: "%"}


def response_words() -> dict[str, str]:
    return {
        Response.PULL_FORCE.value: _("Pull force"),
        Response.RESISTANCE.value: _("Resistance"),
        Response.COMPACTION.value: _("Compaction"),
        Reason.TRIED.value: _("the heights tried"),
    }


def _columns(parameters: Mapping[str, Any]) -> list[tuple[str, str]]:
    columns = [("height", _("Crimp height, mm")), ("force", _("Pull force, N"))]
    if parameters["resistance_max"] is not None:
        columns.append(("resistance", _("Resistance, mΩ")))
    if parameters["compaction_min"] is not None or parameters["compaction_max"] is not None:
        columns.append(("compaction", _("Compaction, %")))
    return columns


def layout(parameters: Mapping[str, Any], unit: str) -> Layout:
    low, high = parameters["compaction_min"], parameters["compaction_max"]
    if low is not None and high is not None and low > high:
        raise Refused([misfit("data.limits.order", "compaction_max", message=_("The limits of compaction are out of order."))])
    columns = _columns(parameters)
    rows = tuple(
        LayoutRow(str(number), tuple(Cell(f"{number}|{name}", label) for name, label in columns))
        for number in range(1, parameters["pieces"] + 1)
    )
    return Layout(_("Piece"), tuple(label for _name, label in columns), rows)


def analyse(study: StudyInput) -> Analysis:
    p = study.parameters
    pieces = range(1, p["pieces"] + 1)

    def column(name: str) -> list[float]:
        return [float(study.values[f"{number}|{name}"]) for number in pieces]

    asked = [Asked(Response.PULL_FORCE, column("force"), low=float(p["force_min"]))]
    if p["resistance_max"] is not None:
        asked.append(Asked(Response.RESISTANCE, column("resistance"), high=float(p["resistance_max"])))
    low, high = p["compaction_min"], p["compaction_max"]
    if low is not None or high is not None:
        asked.append(
            Asked(Response.COMPACTION, column("compaction"), None if low is None else float(low), None if high is None else float(high))
        )
    with refused_as_findings(_("different crimp heights or pieces")):
        answer = crimp_window(
            column("height"),
            asked,
            degree=int(p["degree"]),
            share=float(p["share"]) / 100,
            confidence=float(p["confidence"]) / 100,
            step=p["step"],
        )
    outcome, word = _verdict(answer)
    return Analysis(outcome, word, (_window(answer), *(_response(one, answer) for one in answer.responses)), _content(answer))


def _verdict(answer: WindowStudy) -> tuple[str, str]:
    if answer.window is None:
        return "does not conform", _("no crimp height meets everything that is asked")
    if answer.window.nominal is None:
        return "undecided", _("the window is narrower than a tolerance can be")
    return "conforms", _("{nominal} ± {tolerance} mm is proposed").format(nominal=answer.window.nominal, tolerance=answer.window.tolerance)


def _window(answer: WindowStudy) -> Section:
    words, window = response_words(), answer.window
    promise = _("At each height in the window, with {confidence} % confidence at least {share} % of single pieces keep each limit.").format(
        confidence=figure(100 * answer.confidence), share=figure(100 * answer.share, 5)
    )
    if window is None:
        names = ", ".join(words[response.value] for response in answer.failing)
        if len(answer.failing) < len(answer.responses) or len(answer.responses) == 1:
            why = _("Nowhere among the heights tried does this keep its limit: {names}.").format(names=names)
        else:
            why = _("Each keeps its limit somewhere, but nowhere together: {names}.").format(names=names)
        return Section(_("Window"), notes=(why, promise))
    facts = [
        Fact(_("From"), figure(window.low, 5), "mm", note=_("ended by: {reason}").format(reason=words[window.low_because.value].lower())),
        Fact(_("To"), figure(window.high, 5), "mm", note=_("ended by: {reason}").format(reason=words[window.high_because.value].lower())),
    ]
    if window.nominal is not None:
        facts += [
            Fact(_("Proposed nominal"), str(window.nominal), "mm", note=_("the middle of the window, rounded inward")),
            Fact(_("Proposed tolerance, ±"), str(window.tolerance), "mm", note=_("as far as whole steps stay inside")),
        ]
    caution = _("A proposal for the crimp specification, which quality decides on with the terminal's application specification in hand.")
    return Section(_("Window"), facts=tuple(facts), notes=(promise, caution))


def _response(one: Fitted, answer: WindowStudy) -> Section:
    asked, curve = one.asked, one.curve
    name, unit = response_words()[asked.response.value], UNITS[asked.response]
    facts = [
        Fact(_("Spread about the curve"), figure(curve.s), unit, note=_("{df} degrees of freedom").format(df=curve.df)),
        Fact(_("R²"), figure(curve.r_squared)),
    ]
    if curve.lack_of_fit_p is not None:
        fits = curve.lack_of_fit_p >= 0.05
        facts.append(
            Fact(
                _("Lack of fit, p"),
                figure(curve.lack_of_fit_p),
                outcome="conforms" if fits else "undecided",
                word=_("the curve describes the heights") if fits else _("the curve bends otherwise than the heights: try another degree"),
            )
        )
    return Section(name, facts=tuple(facts), figures=(_figure(one, answer, name, unit),))


def _figure(one: Fitted, answer: WindowStudy, name: str, unit: str) -> Figure:
    every = slice(None, None, 16)  # fifty stretches are a smooth curve on any screen
    grid = [float(x) for x in one.grid[every]]
    curves = [Curve(grid, one.fitted[every].tolist(), _("mean"), one.mean_low[every].tolist(), one.mean_high[every].tolist())]
    for bound in (one.bound_low, one.bound_high):
        if bound is not None:
            curves.append(Curve(grid, bound[every].tolist(), _("bound"), dash="5 3"))
    levels = [Level(limit, word) for limit, word in ((one.asked.low, _("at least")), (one.asked.high, _("at most"))) if limit is not None]
    window = answer.window
    stretches = () if window is None else (Stretch(window.low, window.high, _("window")),)
    spots = [
        Spot(height, value, _("piece {number}").format(number=number))
        for number, (height, value) in enumerate(zip(answer.heights, one.asked.values, strict=True), start=1)
    ]
    svg = scatter(
        spots,
        x=Axis(_("Crimp height"), "mm"),
        y=Axis(name, unit),
        title=_("{name} over crimp height").format(name=name),
        curves=curves,
        levels=levels,
        stretches=stretches,
    )
    table = Table(
        _("{name} by piece").format(name=name),
        (Column(_("Piece")), Column(_("Crimp height, mm")), Column(f"{name}, {unit}")),
        tuple((str(i), figure(x, 6), figure(y, 6)) for i, (x, y) in enumerate(zip(answer.heights, one.asked.values, strict=True), start=1)),
    )
    note = _("Mean with its band; the dashed bound holds for single pieces.")
    return Figure(_("{name} over crimp height").format(name=name), svg, note, table)


def _content(answer: WindowStudy) -> dict[str, Any]:
    window = answer.window
    return {
        "window_low_mm": exact(window.low) if window else "",
        "window_high_mm": exact(window.high) if window else "",
        "low_because": window.low_because.value if window else "",
        "high_because": window.high_because.value if window else "",
        "nominal_mm": exact(window.nominal) if window else "",
        "tolerance_mm": exact(window.tolerance) if window else "",
        "share": exact(answer.share),
        "confidence": exact(answer.confidence),
        "curves": [
            {
                "response": one.asked.response.value,
                "degree": one.curve.degree,
                "centre_mm": exact(one.curve.centre),
                "scale_mm": exact(one.curve.scale),
                "coefficients": [exact(c) for c in one.curve.coefficients.tolist()],
                "s": exact(one.curve.s),
                "df": one.curve.df,
            }
            for one in answer.responses
        ],
    }


CRIMP_WINDOW = StudyKind(
    slug="crimp-window",
    name=gettext_lazy("Crimp window"),
    about=gettext_lazy(
        "A series crimped at stepped heights: pull force, resistance and compaction over height, and the heights at which single pieces "
        "keep every limit."
    ),
    needs=frozenset({"tool", "terminal"}),
    parameters=(
        Parameter("wire", gettext_lazy("Wire"), "text", help=gettext_lazy("Part number and lot of the wire that was crimped.")),
        Parameter("pieces", gettext_lazy("Pieces"), "count", "25", least=Decimal(8), most=Decimal(200),
                  help=gettext_lazy("Five pieces at each of five to seven heights are common practice.")),
        Parameter("force_min", gettext_lazy("Pull force at least, N"), least=Decimal("0.1"),
                  help=gettext_lazy("From the crimp specification or the standard it cites.")),
        Parameter("resistance_max", gettext_lazy("Resistance at most, mΩ"), required=False, least=Decimal("0.0001"),
                  help=gettext_lazy("Left empty, resistance is not measured.")),
        Parameter("compaction_min", gettext_lazy("Compaction at least, %"), required=False, least=Decimal(0), most=Decimal(100)),
        Parameter("compaction_max", gettext_lazy("Compaction at most, %"), required=False, least=Decimal(0), most=Decimal(100)),
        Parameter("degree", gettext_lazy("Curve"), "choice", "2",
                  choices=(("1", gettext_lazy("straight line")), ("2", gettext_lazy("quadratic")), ("3", gettext_lazy("cubic")))),
        Parameter("share", gettext_lazy("Share of single pieces, %"), initial="99", least=Decimal(50), most=Decimal("99.99")),
        Parameter("confidence", gettext_lazy("Confidence, %"), initial="95", least=Decimal(50), most=Decimal("99.99")),
        Parameter("step", gettext_lazy("Step of nominal and tolerance, mm"), initial="0.01", least=Decimal("0.001"), most=Decimal("0.1")),
    ),
    layout=layout,
    analyse=analyse,
    notes=(
        gettext_lazy(
            "Pull to destruction behind a guard. Crimp with the press's guards closed only, and set the height with the press locked out."
        ),
    ),
)  # fmt: skip
