"""Visual criteria of a crimped termination, in the trade's words; accepted or rejected one by one, with a photo on reject.

A customer's drawing, the application specification and the workmanship standard of the contract outrank this list. Values are not given
here: where a limit is measured, the crimp specification states it. Sources of single criteria stand beside them (clauses of NASA-STD-8739.4
up to Change 6 and the NASA workmanship pictorial reference); the others are common practice.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Applies(StrEnum):
    """Which terminals a criterion is for."""

    ALWAYS = "always"
    OPEN_BARREL = "open barrel"
    CLOSED_BARREL = "closed barrel"
    SUPPORT = "insulation support"
    NO_SUPPORT = "no insulation support"


@dataclass(frozen=True, slots=True)
class VisualCriterion:
    """One thing to look at. code: stable, stored with the finding. accept / reject: what is seen in either case."""

    code: str
    title: str
    accept: str
    reject: str
    applies: frozenset[Applies] = frozenset({Applies.ALWAYS})
    source: str = "common practice"


def _for(*applies: Applies) -> frozenset[Applies]:
    return frozenset(applies)


def _(text: str) -> str:
    """Marks a text for translation; pages translate it when they show it, records keep it as it stands here."""
    return text


VISUAL_CRITERIA: tuple[VisualCriterion, ...] = (
    VisualCriterion(
        "visual.right_parts",
        _("Right terminal, wire and colour"),
        _("Terminal, wire and colour are those on the sheet."),
        _("One of them is another."),
    ),
    VisualCriterion(
        "visual.strands_in",
        _("All strands in the barrel"),
        _("Every strand is inside the conductor barrel."),
        _("A strand lies outside or is folded back."),
    ),
    VisualCriterion(
        "visual.strands_whole",
        _("Strands whole"),
        _("No strand is cut, nicked or missing."),
        _("A strand is cut, nicked or missing."),
        source="NASA-STD-8739.4 clause 19.6.2",
    ),
    VisualCriterion(
        "visual.window",
        _("Window between barrel and support"),
        _("Conductor and insulation are both visible between the conductor barrel and the support."),
        _("Only one of them is visible, or insulation is inside the conductor barrel."),
        _for(Applies.SUPPORT),
        "NASA workmanship pictorial reference 2.03",
    ),
    VisualCriterion(
        "visual.clearance",
        _("Gap at the insulation"),
        _("The insulation ends short of the conductor barrel, with a gap as the specification states."),
        _("Insulation reaches into the barrel, or the gap is too large."),
        _for(Applies.NO_SUPPORT),
        "NASA-STD-8739.4 clause 10.1.7",
    ),
    VisualCriterion(
        "visual.inspection_hole",
        _("Conductor in the inspection hole"),
        _("Strands are visible in the inspection hole."),
        _("No strand is visible in the hole."),
        _for(Applies.CLOSED_BARREL),
        "NASA-STD-8739.4 clause 19.6.1",
    ),
    VisualCriterion(
        "visual.bell_mouth",
        _("Bell mouth"),
        _("A bell mouth is present at the wire end of the conductor barrel."),
        _("There is none at the wire end, or the barrel edge cuts the strands."),
        _for(Applies.OPEN_BARREL),
    ),
    VisualCriterion(
        "visual.brush",
        _("Conductor brush"),
        _("The brush is visible in front of the barrel and stays clear of the mating area."),
        _("No brush is visible, or it reaches into the mating area."),
        _for(Applies.OPEN_BARREL),
        "NASA workmanship pictorial reference 2.01",
    ),
    VisualCriterion(
        "visual.support_grip",
        _("Insulation support"),
        _("The support grips the insulation all round without piercing it."),
        _("The support is open, or it cuts or pierces the insulation."),
        _for(Applies.SUPPORT),
    ),
    VisualCriterion(
        "visual.seam",
        _("Seam closed"),
        _("The wings meet and the seam is closed over its length."),
        _("The seam is open, or one wing lies over the other."),
        _for(Applies.OPEN_BARREL),
    ),
    VisualCriterion(
        "visual.indent",
        _("Indent in place"),
        _("The indent sits between wire entry and inspection hole and leaves both undistorted."),
        _("The indent runs into the entry or the hole, or the barrel is cracked."),
        _for(Applies.CLOSED_BARREL),
        "NASA-STD-8739.4 clause 19.6.1",
    ),
    VisualCriterion(
        "visual.straight",
        _("Terminal straight"),
        _("The terminal is not bent, twisted, rolled or crushed."),
        _("It is bent, twisted, rolled or crushed beyond the specification."),
    ),
    VisualCriterion(
        "visual.cut_off_tab",
        _("Cut-off tab and burr"),
        _("Cut-off tab and burr are within the limit."),
        _("The tab is too long or bent, or a burr stands out."),
        _for(Applies.OPEN_BARREL),
    ),
    VisualCriterion(
        "visual.plating",
        _("Plating"),
        _("The plating is whole where the terminal is formed."),
        _("Plating is flaked or base metal shows."),
        source="NASA-STD-8739.4 clause 19.6.1",
    ),
    VisualCriterion(
        "visual.tang",
        _("Locking tang"),
        _("The locking tang, where there is one, stands as made."),
        _("The tang is bent, flattened or missing."),
    ),
)


CROSS_SECTION = "cross_section"
"""Codes of cross-sections begin with this; each piece that is cut has one of its own, "cross_section.1" first."""


def is_cross_section(code: str) -> bool:
    """Whether a finding with this code needs somebody qualified for cross-sections, and cost a piece."""
    return code.partition(".")[0] == CROSS_SECTION


def cross_sections(count: int) -> tuple[VisualCriterion, ...]:
    """The criteria of so many cross-sections. What a section must show in figures stands in the application specification."""
    return tuple(
        VisualCriterion(
            f"{CROSS_SECTION}.{number}",
            f"Cross-section {number}",
            _("Cut, polished and etched, the strands are deformed and fill the barrel; the wings close and support each other."),
            _("Voids or round strands, a wing that touches the floor or does not close, a crack, or a burr beyond the limit."),
        )
        for number in range(1, count + 1)
    )


OWN = "own"
"""Codes of a planner's own criteria begin with this; what is looked at follows, so that a finding says it for ever."""

LONGEST_OWN = 70


def own_criterion(text: str) -> VisualCriterion:
    """A criterion that a planner wrote down for one termination. text: what is seen when it is accepted."""
    return VisualCriterion(f"{OWN}.{text}", text, text, "It is not so.", source="inspection plan of the sheet")


def title_of(code: str) -> str:
    """The title of a criterion by its code; of a code that is none any more, the code itself."""
    if is_cross_section(code):
        return f"Cross-section {code.partition('.')[2]}"
    if code.startswith(f"{OWN}."):
        return code.removeprefix(f"{OWN}.")
    return next((criterion.title for criterion in VISUAL_CRITERIA if criterion.code == code), code)


def criteria_for(barrel: str, has_support: bool) -> tuple[VisualCriterion, ...]:
    """The criteria for a terminal, in the order of looking. barrel: "open" or "closed". Raises ValueError for another barrel."""
    if barrel not in ("open", "closed"):
        raise ValueError(f"a barrel is open or closed, not {barrel!r}")
    given = {
        Applies.ALWAYS,
        Applies.OPEN_BARREL if barrel == "open" else Applies.CLOSED_BARREL,
        Applies.SUPPORT if has_support else Applies.NO_SUPPORT,
    }
    return tuple(criterion for criterion in VISUAL_CRITERIA if criterion.applies <= given)
