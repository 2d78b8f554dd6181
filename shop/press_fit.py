"""Rule 5: does a tool go into a press, and does the press give what the terminal needs. Kin of `shop.fit`, worded in the same place.

Judged where a plan names a press, and for "which presses take this tool". A due date is the last good day.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from shop.finding import Finding
from shop.ruling import all_of, answer

TOOLS_FOR_A_PRESS = frozenset({"applicator", "die set"})
"""Kinds of tool that work in a press; the others are held in the hand or are no crimp tools."""

NO_FEED = "loose piece, no feed"
"""The feed of a tool that is loaded by hand: any press does."""


@dataclass(frozen=True, slots=True)
class PressFacts:
    """A press as the catalogue knows it. feed empty: it takes any. shut_height_due_on: last day on which the verification holds."""

    press: str
    mount: str
    feed: str
    force_rating_n: Decimal | None
    shut_height_mm: Decimal | None
    shut_height_tolerance_mm: Decimal | None
    shut_height_verified_on: date | None
    shut_height_due_on: date | None


@dataclass(frozen=True, slots=True)
class PressToolFacts:
    """What a tool asks of the press it goes into; mount or feed empty: not recorded."""

    tool: str
    kind: str
    mount: str = ""
    feed: str = ""
    shut_height_mm: Decimal | None = None


def press_mount(press: PressFacts, tool: PressToolFacts) -> Finding:
    """The tool works in a press at all, and its mount is the one this press has. Spelling counts, capitals do not."""
    fits: bool | None
    if tool.kind not in TOOLS_FOR_A_PRESS:
        fits = False
    elif not tool.mount or not press.mount:
        fits = None
    else:
        fits = tool.mount.strip().casefold() == press.mount.strip().casefold()
    named = {"tool": tool.tool, "kind": tool.kind, "press": press.press}
    return answer("fit.press.mount", fits, "press", tool_mount=tool.mount, press_mount=press.mount, **named)


def press_feed(press: PressFacts, tool: PressToolFacts) -> Finding:
    """Strip form runs into the tool from the side from which the press feeds it. Loose pieces need no feed; some presses take any."""
    any_will_do = not press.feed or tool.feed == NO_FEED
    fits = True if any_will_do else tool.feed == press.feed if tool.feed else None
    named = {"tool": tool.tool, "press": press.press}
    return answer("fit.press.feed", fits, "press", tool_feed=tool.feed, press_feed=press.feed or "any feed", **named)


def press_force(press: PressFacts, terminal: str, crimp_force_n: Decimal | None) -> Finding:
    """The force rating of the press is not below the force this terminal needs."""
    rated = press.force_rating_n
    fits = None if rated is None or crimp_force_n is None else rated >= crimp_force_n
    return answer("fit.press.force", fits, "press", press=press.press, terminal=terminal, press_n=rated, terminal_n=crimp_force_n)


def press_shut_height(press: PressFacts, tool: PressToolFacts, on: date) -> Finding:
    """The shut height is what the tool asks, within the tolerance of the press, and it was verified and is not overdue on that day."""
    height, asked, tolerance = press.shut_height_mm, tool.shut_height_mm, press.shut_height_tolerance_mm
    same = None if height is None or asked is None or tolerance is None else abs(height - asked) <= tolerance
    verified, due = press.shut_height_verified_on, press.shut_height_due_on
    in_time = all_of((None if verified is None else verified <= on, None if due is None else on <= due))
    return answer(
        "fit.press.shut_height",
        all_of((same, in_time)),
        "press",
        press=press.press,
        tool=tool.tool,
        press_mm=height,
        tool_mm=asked,
        tolerance_mm=tolerance,
        verified=verified,
        due=due,
        day=on,
    )


def press_fit(press: PressFacts, tool: PressToolFacts, terminal: str, crimp_force_n: Decimal | None, on: date) -> tuple[Finding, ...]:
    """Rule 5 for one press and one tool. A tool that goes into no press is told so once: nothing else of it can be compared."""
    mount = press_mount(press, tool)
    if tool.kind not in TOOLS_FOR_A_PRESS:
        return (mount,)
    return (mount, press_feed(press, tool), press_force(press, terminal, crimp_force_n), press_shut_height(press, tool, on))
