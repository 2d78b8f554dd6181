"""Run rules: what on a chart says that something other than chance is at work.

Nelson 1984 (Journal of Quality Technology 16, 237-239) and Western Electric, Statistical Quality Control Handbook 1956. Conventions where
they leave room: a point exactly on a line is not beyond it; a point on the centre line ends a run; equal neighbours end a trend; for "two
of three" and "four of five" the last point is itself beyond. Every point that completes a pattern signals, so a run of ten on one side
under "nine in a row" signals twice.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from inspection.process.chart import Chart, Judged, Panel, panel
from inspection.process.readings import PIECE, Array, IntArray, Values, checked

Flags = npt.NDArray[np.bool_]

ROUNDING = 1e-12
"""Share of a point's size that is rounding, no signal: equal readings give limits equal to them but for the last digits."""


class Pattern(StrEnum):
    """What a rule looks for."""

    LIMIT = "beyond a limit"
    SIDE = "on one side"
    TREND = "rising or falling"
    ALTERNATING = "up and down in turn"
    BEYOND = "beyond a zone line, same side"
    INSIDE = "inside the zone lines"
    OUTSIDE = "outside the zone lines, either side"


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule as one chart uses it. code: "nelson.2". count points of the last `of` show the pattern; zones are `sigmas` wide."""

    code: str
    pattern: Pattern
    count: int = 1
    of: int = 1
    sigmas: float = 0.0

    def __post_init__(self) -> None:
        shortest = {Pattern.TREND: 2, Pattern.ALTERNATING: 3}.get(self.pattern, 1)
        if not shortest <= self.count <= self.of:
            raise ValueError(f"{self.code}: {self.count} of {self.of} points is no run")


def _row(code: str, pattern: Pattern, length: int, sigmas: float = 0.0) -> Rule:
    return Rule(code, pattern, length, length, sigmas)


def nelson(
    *numbers: int,
    side: int = 9,
    trend: int = 6,
    alternating: int = 14,
    outer: tuple[int, int] = (2, 3),
    middle: tuple[int, int] = (4, 5),
    inside: int = 15,
    outside: int = 8,
) -> tuple[Rule, ...]:
    """Nelson's rules of these numbers, all eight if none is named; the lengths count points (a trend of six has five steps).
    Raises ValueError for a number that is none of 1 to 8."""
    rules = {
        1: Rule("nelson.1", Pattern.LIMIT),
        2: _row("nelson.2", Pattern.SIDE, side),
        3: _row("nelson.3", Pattern.TREND, trend),
        4: _row("nelson.4", Pattern.ALTERNATING, alternating),
        5: Rule("nelson.5", Pattern.BEYOND, *outer, sigmas=2.0),
        6: Rule("nelson.6", Pattern.BEYOND, *middle, sigmas=1.0),
        7: _row("nelson.7", Pattern.INSIDE, inside, 1.0),
        8: _row("nelson.8", Pattern.OUTSIDE, outside, 1.0),
    }
    return _chosen(rules, numbers)


def western_electric(*numbers: int, side: int = 8, outer: tuple[int, int] = (2, 3), middle: tuple[int, int] = (4, 5)) -> tuple[Rule, ...]:
    """The Western Electric rules of these numbers, all four if none is named. Raises ValueError for a number that is none of 1 to 4."""
    rules = {
        1: Rule("western.1", Pattern.LIMIT),
        2: Rule("western.2", Pattern.BEYOND, *outer, sigmas=2.0),
        3: Rule("western.3", Pattern.BEYOND, *middle, sigmas=1.0),
        4: _row("western.4", Pattern.SIDE, side),
    }
    return _chosen(rules, numbers)


def _chosen(rules: dict[int, Rule], numbers: Sequence[int]) -> tuple[Rule, ...]:
    if unknown := [number for number in numbers if number not in rules]:
        raise ValueError(f"there is no rule {unknown[0]}, only {min(rules)} to {max(rules)}")
    return tuple(rules[number] for number in (sorted(set(numbers)) or rules))


def rules_as_text(rules: Iterable[Rule]) -> list[str]:
    """Rules with their lengths, to be kept beside frozen limits: "nelson.2 9/9"."""
    return [f"{rule.code} {rule.count}/{rule.of}" for rule in rules]


def rules_from_text(texts: Iterable[str]) -> tuple[Rule, ...]:
    """The rules that `rules_as_text` wrote. Raises ValueError for anything else."""
    known = {rule.code: rule for rule in nelson() + western_electric()}
    rules = []
    for text in texts:
        code, _, lengths = text.partition(" ")
        count, slash, of = lengths.partition("/")
        if code not in known or not slash:
            raise ValueError(f"{text!r} is no run rule")
        rules.append(replace(known[code], count=int(count), of=int(of)))
    return tuple(rules)


_MEANINGFUL = {
    Judged.ALL: frozenset(Pattern),
    Judged.SIDES: frozenset({Pattern.LIMIT, Pattern.SIDE, Pattern.TREND, Pattern.ALTERNATING}),
    Judged.LIMITS: frozenset({Pattern.LIMIT}),
    Judged.RUNS: frozenset({Pattern.SIDE, Pattern.TREND, Pattern.ALTERNATING}),
}


def applies(rule: Rule, to: Panel) -> bool:
    """Whether a rule means something on this panel (see `Judged`)."""
    return rule.pattern in _MEANINGFUL[to.judged]


@dataclass(frozen=True, slots=True, eq=False)
class Signals:
    """What one rule found on one panel. applies: False where the rule means nothing there, and then nothing is found.

    at: index in the panel's points of each point that completes the pattern, ascending. `run` gives the points that make it.
    """

    rule: Rule
    applies: bool
    at: IntArray
    _panel: Panel

    def __len__(self) -> int:
        return int(self.at.size)

    def run(self, at: int) -> tuple[int, ...]:
        """Indices of the points that make the signal completed at point `at`: the whole row, or of "two of three" those beyond."""
        rule, first = self.rule, at - self.rule.of + 1
        if rule.pattern is not Pattern.BEYOND:
            return tuple(range(first, at + 1))
        first = max(first, 0)
        seen = _Lines(self._panel, first, at + 1)
        above = seen.above(rule.sigmas)
        beyond = above if above[-1] else seen.below(rule.sigmas)
        return tuple(int(index) + first for index in np.flatnonzero(beyond))

    def runs(self) -> tuple[tuple[int, ...], ...]:
        """The points of every signal, in the order of `at`."""
        return tuple(self.run(int(at)) for at in self.at)


class _Lines:
    """Comparisons of a stretch of points with the lines of its panel, each made once."""

    def __init__(self, of: Panel, first: int, end: int) -> None:
        self.points = of.points[first:end]
        self.center, self.low, self.high, self.sigma = (_cut(x, first, end) for x in (of.center, of.low, of.high, of.sigma))
        largest = _largest(self.center) + (0.0 if self.sigma is None else 3 * _largest(self.sigma))
        self.slack = ROUNDING * max(largest, 0.0)
        self._zones: dict[float, tuple[Flags, Flags]] = {}
        self._steps: tuple[Flags, Flags] | None = None

    def _zone(self, sigmas: float) -> tuple[Flags, Flags]:
        if sigmas not in self._zones:
            center = 0.0 if self.center is None else self.center
            away = 0.0 if self.sigma is None or sigmas == 0 else sigmas * self.sigma
            self._zones[sigmas] = (self.points < center - away - self.slack, self.points > center + away + self.slack)
        return self._zones[sigmas]

    def below(self, sigmas: float) -> Flags:
        return self._zone(sigmas)[0]

    def above(self, sigmas: float) -> Flags:
        return self._zone(sigmas)[1]

    def beyond_limits(self) -> Flags:
        beyond = np.zeros(self.points.shape, dtype=np.bool_)
        if self.low is not None:
            beyond |= self.points < self.low - self.slack
        if self.high is not None:
            beyond |= self.points > self.high + self.slack
        return beyond

    def spread_out(self) -> Flags:
        return np.broadcast_to(np.asarray(0.0 if self.sigma is None else self.sigma) > self.slack, self.points.shape)

    def steps(self) -> tuple[Flags, Flags]:
        """Falling and rising from the point before, aligned with the later point; False for the first."""
        if self._steps is None:
            compared, slack = self.points, self.slack
            if isinstance(self.sigma, np.ndarray) and self.center is not None:
                # Where the error of a point varies with its size, neighbours are compared in units of their own error.
                at_rest = self.sigma <= 0
                compared = (self.points - self.center) / np.where(at_rest, 1.0, self.sigma)
                slack = ROUNDING * (1.0 + _largest(np.abs(compared)))
            falling, rising = np.zeros(self.points.shape, np.bool_), np.zeros(self.points.shape, np.bool_)
            room = np.empty(min(PIECE, compared.size))
            for start in range(0, compared.size - 1, PIECE):
                end = min(start + PIECE, compared.size - 1)
                step = np.subtract(compared[start + 1 : end + 1], compared[start:end], out=room[: end - start])
                np.less(step, -slack, out=falling[start + 1 : end + 1])
                np.greater(step, slack, out=rising[start + 1 : end + 1])
            self._steps = falling, rising
        return self._steps


def _cut(lines: Array | None, first: int, end: int) -> float | Array | None:
    """The stretch of a line, as one number where it is the same everywhere (comparing with a number is quicker)."""
    if lines is None:
        return None
    if lines.strides == (0,) and lines.size:
        return float(lines[0])
    return lines[first:end]


def _largest(value: float | Array | None) -> float:
    if value is None:
        return 0.0
    if isinstance(value, np.ndarray):
        return float(np.abs(value).max()) if value.size else 0.0
    return abs(value)


def _row_of(flags: Flags, length: int) -> Flags:
    """Where `length` flags in a row end; doubling, so that a run of fifteen takes six passes over bytes."""
    done, covered = flags, 1
    while covered < length:
        shift = min(covered, length - covered)
        both = np.zeros_like(done)
        np.logical_and(done[shift:], done[:-shift], out=both[shift:])
        done, covered = both, covered + shift
    return done


def _count_of(flags: Flags, count: int, of: int) -> Flags:
    """Where a flag stands and, with the points before it, at least `count` of the last `of`."""
    bits = flags.view(np.int8)
    total = bits.copy() if of < 127 else bits.astype(np.int32)
    for back in range(1, min(of, flags.size)):
        total[back:] += bits[:-back]
    found: Flags = (total >= count) & flags
    return found


def _found(rule: Rule, lines: _Lines) -> Flags:
    match rule.pattern:
        case Pattern.LIMIT:
            beyond = lines.beyond_limits()
            return beyond if rule.of == 1 else _count_of(beyond, rule.count, rule.of)
        case Pattern.SIDE:
            return _row_of(lines.below(0), rule.of) | _row_of(lines.above(0), rule.of)
        case Pattern.TREND:
            falling, rising = lines.steps()
            return _row_of(falling, rule.of - 1) | _row_of(rising, rule.of - 1)
        case Pattern.ALTERNATING:
            falling, rising = lines.steps()
            turns = np.zeros_like(falling)
            turns[1:] = (falling[1:] & rising[:-1]) | (rising[1:] & falling[:-1])
            return _row_of(turns, rule.of - 2)
        case Pattern.BEYOND:
            return _count_of(lines.below(rule.sigmas), rule.count, rule.of) | _count_of(lines.above(rule.sigmas), rule.count, rule.of)
        case Pattern.INSIDE:
            # Without any spread every point lies inside, which says nothing of mixed sources.
            return _row_of(~(lines.below(rule.sigmas) | lines.above(rule.sigmas)) & lines.spread_out(), rule.of)
        case Pattern.OUTSIDE:
            return _row_of(lines.below(rule.sigmas) | lines.above(rule.sigmas), rule.of)


def signals(of: Panel, rules: Iterable[Rule], *, newest: int | None = None) -> tuple[Signals, ...]:
    """What each rule finds on a panel, in the order of the rules.

    newest: look at the last so many points only, reading as far back as the longest rule needs: what a live chart asks after each sample.
    """
    asked = tuple(rules)
    end = len(of)
    wanted = 0 if newest is None else max(end - newest, 0)
    # A trend compares with the point before its first step, which its length counts already.
    first = max(wanted - max((rule.of for rule in asked), default=1) + 1, 0)
    lines = _Lines(of, first, end)
    none = np.empty(0, dtype=np.int64)
    # Both sets of rules share some patterns; each is looked for once.
    places: dict[tuple[Pattern, int, int, float], IntArray] = {}
    found = []
    for rule in asked:
        fits, look = applies(rule, of), (rule.pattern, rule.count, rule.of, rule.sigmas)
        if fits and end and look not in places:
            at = np.flatnonzero(_found(rule, lines)) + first
            places[look] = at[np.searchsorted(at, wanted) :]
        found.append(Signals(rule, fits, places.get(look, none) if fits else none, of))
    return tuple(found)


def chart_signals(of: Chart, rules: Iterable[Rule], *, newest: int | None = None) -> tuple[tuple[Signals, ...], ...]:
    """What each rule finds on each panel of a chart (outer index: panel)."""
    asked = tuple(rules)
    return tuple(signals(each, asked, newest=newest) for each in of.panels)


def standard_panel(values: Values) -> Panel:
    """A panel of values that are in sigma from the centre line already. Raises TooFew, NotFinite."""
    return panel("value", checked(values, 1), 0.0, 1.0)
