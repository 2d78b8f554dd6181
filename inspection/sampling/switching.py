"""Switching between normal, tightened and reduced inspection over a history of lots.

Source: MIL-STD-105E 4.7 (from memory). The limit numbers for reduced inspection (Table VIII) are computed, see `limit_number`. Instead
of ten lots and limit numbers the switching score of ISO 2859-1:1999 can decide on reduced inspection (from memory). Lots presented again
do not count.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from inspection.sampling.single import Severity


class State(StrEnum):
    """What the next lot is inspected under. Discontinued: no lot is accepted until the supplier has put things right."""

    NORMAL = "normal"
    TIGHTENED = "tightened"
    REDUCED = "reduced"
    DISCONTINUED = "discontinued"


class Why(StrEnum):
    """What caused a switch."""

    TWO_OF_FIVE = "two of five not accepted"
    FIVE_ACCEPTED = "five in a row accepted"
    TEN_ACCEPTED = "ten in a row accepted within the limit number"
    SCORE = "switching score reached"
    NOT_ACCEPTED = "a lot not accepted on reduced inspection"
    BETWEEN = "a lot between acceptance and rejection number"
    IRREGULAR = "production irregular"
    FIVE_ON_TIGHTENED = "five not accepted on tightened inspection"


class Route(StrEnum):
    """How inspection gets from normal to reduced."""

    LIMIT_NUMBERS = "limit numbers"  # MIL-STD-105E
    SCORE = "switching score"  # ISO 2859-1:1999, from memory
    NEVER = "never"  # the responsible authority does not agree


WINDOW, IN_WINDOW = 5, 2
BACK_TO_NORMAL = 5
LOTS_TO_REDUCED = 10
SCORE_TO_REDUCED = 30
STOP_AT = 5


class ImpossibleLot(ValueError):  # noqa: N818  # reads as what happened
    """Figures of a lot that contradict one another. index: which lot, from 0."""

    def __init__(self, index: int) -> None:
        self.index = index
        super().__init__(index)

    def __str__(self) -> str:
        return f"the figures of lot {self.index + 1} contradict one another"


@dataclass(frozen=True, slots=True)
class LotRecord:
    """One inspected lot: n looked at, `nonconforming` found, with the acceptance and rejection numbers used.

    units: nonconforming pieces, or nonconformities where they are counted. resubmitted: presented again, does not count. steady: production
    was regular. ac_tighter: Ac of the same sample at the next tighter AQL, for the switching score; None where Ac is below 2.
    """

    n: int
    ac: int
    re: int
    nonconforming: int
    resubmitted: bool = False
    steady: bool = True
    ac_tighter: int | None = None

    @property
    def accepted(self) -> bool:
        return self.nonconforming < self.re

    @property
    def between(self) -> bool:
        """Accepted, but with more than the acceptance number: reduced inspection ends."""
        return self.ac < self.nonconforming < self.re


@dataclass(frozen=True, slots=True)
class Switch:
    """After the lot at `index` (from 0, in the history given) inspection went from `before` to `after`."""

    index: int
    before: State
    after: State
    why: Why


@dataclass(frozen=True, slots=True)
class Standing:
    """What the next lot is inspected under, and how it came to that.

    switches: the oldest first. lots: how many counted lots were inspected since the last switch; accepted_run: how many of the newest of
    them were accepted in a row; not_accepted: not accepted among them (on normal: among the newest four, which a fifth may join).
    score: the switching score, 0 where it does not decide. limit: the limit number that the found total of the last lots is held against,
    None where there is none yet; found: that total.
    """

    state: State
    switches: tuple[Switch, ...]
    lots: int
    accepted_run: int
    not_accepted: int
    score: int = 0
    found: int = 0
    limit: int | None = None

    @property
    def severity(self) -> Severity | None:
        """None where acceptance is discontinued."""
        return None if self.state is State.DISCONTINUED else Severity(self.state.value)

    @property
    def why(self) -> Why | None:
        """None where inspection is as it started."""
        return self.switches[-1].why if self.switches else None

    @property
    def accepted_to_switch(self) -> int | None:
        """How many more lots in a row, accepted (and for reduced inspection clean enough), until inspection eases; None where it cannot."""
        if self.state is State.TIGHTENED:
            return BACK_TO_NORMAL - self.accepted_run
        return None

    @property
    def not_accepted_to_switch(self) -> int | None:
        """How many more lots not accepted, soon enough, until inspection becomes stricter or stops; None where it has stopped."""
        match self.state:
            case State.NORMAL:
                return IN_WINDOW - self.not_accepted
            case State.TIGHTENED:
                return STOP_AT - self.not_accepted
            case State.REDUCED:
                return 1
        return None


_SIZES = (
    20, 30, 50, 80, 130, 200, 320, 500, 800, 1250, 2000, 3150, 5000, 8000, 12500, 20000, 31500, 50000,
)  # fmt: skip


def limit_number(units: int, aql: Decimal | float) -> int | None:
    """The most nonconforming that the samples of the last lots may hold in all for reduced inspection; None where they are too few to tell.

    units: pieces in those samples. The figures of MIL-STD-105E Table VIII were not at hand: this computes lambda - 1.282 sqrt(lambda),
    rounded down, with lambda the AQL on the least number of units of the table's class, which gives the figures as remembered (0, 2, 4,
    8, 14, 22, 40, 68, 115, 181 for 20 units at AQL 10, 25, 40, 65, 100, 150, 250, 400, 650, 1000). From memory.

    >>> limit_number(840, Decimal("1.0")), limit_number(150, Decimal("1.0"))
    (4, None)
    """
    if units < _SIZES[0]:
        return None
    least = _SIZES[bisect_right(_SIZES, units) - 1]
    expected = least * float(aql) / 100
    limit = expected - 1.282 * math.sqrt(expected)
    return math.floor(limit) if limit >= 0 else None


def standing(
    history: Iterable[LotRecord],
    *,
    aql: Decimal | float,
    start: State = State.NORMAL,
    route: Route = Route.LIMIT_NUMBERS,
    can_tighten: bool = True,
) -> Standing:
    """What the next lot is inspected under after a history of lots, the oldest first.

    start: what the first lot was inspected under. route: how reduced inspection is reached; `Route.NEVER` where the responsible authority
    has not agreed to it. can_tighten: False for plans without a tightened one, which never switch. Raises ImpossibleLot.
    """
    walk = _Walk(State(start), float(aql), Route(route))
    for index, lot in enumerate(history):
        if not 0 <= lot.ac < lot.re or lot.nonconforming < 0 or lot.n < 1:
            raise ImpossibleLot(index)
        if not lot.resubmitted and can_tighten and walk.state is not State.DISCONTINUED:
            walk.take(index, lot)
    return walk.standing()


class _Walk:
    """The history so far: the state, and the counted lots since the last switch."""

    def __init__(self, state: State, aql: float, route: Route) -> None:
        self.state, self.aql, self.route = state, aql, route
        self.since: list[LotRecord] = []
        self.switches: list[Switch] = []
        self.score = 0

    def take(self, index: int, lot: LotRecord) -> None:
        self.since.append(lot)
        if self.state is State.NORMAL and self.route is Route.SCORE:
            self.score = _scored(self.score, lot)
        to = {State.NORMAL: self._from_normal, State.TIGHTENED: self._from_tightened, State.REDUCED: self._from_reduced}[self.state](lot)
        if to is not None:
            self.switches.append(Switch(index, self.state, *to))
            self.state, self.since, self.score = to[0], [], 0

    def _from_normal(self, lot: LotRecord) -> tuple[State, Why] | None:
        if sum(not one.accepted for one in self.since[-WINDOW:]) >= IN_WINDOW:
            return State.TIGHTENED, Why.TWO_OF_FIVE
        if not lot.steady:
            return None
        if self.route is Route.SCORE and self.score >= SCORE_TO_REDUCED:
            return State.REDUCED, Why.SCORE
        if self.route is Route.LIMIT_NUMBERS:
            found, limit = self._limit()
            if limit is not None and found <= limit:
                return State.REDUCED, Why.TEN_ACCEPTED
        return None

    def _limit(self) -> tuple[int, int | None]:
        """What the last lots held in all, and the limit number. More than ten lots are used where ten hold too few pieces to tell."""
        run = self._run()
        if run < LOTS_TO_REDUCED or not all(lot.steady for lot in self.since[-LOTS_TO_REDUCED:]):
            return 0, None
        newest = self.since[::-1]
        units = sum(lot.n for lot in newest[:LOTS_TO_REDUCED])
        found = sum(lot.nonconforming for lot in newest[:LOTS_TO_REDUCED])
        for lot in newest[LOTS_TO_REDUCED:run]:
            if limit_number(units, self.aql) is not None:
                break
            units, found = units + lot.n, found + lot.nonconforming
        return found, limit_number(units, self.aql)

    def _from_tightened(self, _lot: LotRecord) -> tuple[State, Why] | None:
        if sum(not one.accepted for one in self.since) >= STOP_AT:
            return State.DISCONTINUED, Why.FIVE_ON_TIGHTENED
        return (State.NORMAL, Why.FIVE_ACCEPTED) if self._run() >= BACK_TO_NORMAL else None

    def _from_reduced(self, lot: LotRecord) -> tuple[State, Why] | None:
        if not lot.accepted:
            return State.NORMAL, Why.NOT_ACCEPTED
        if lot.between:
            return State.NORMAL, Why.BETWEEN
        return None if lot.steady else (State.NORMAL, Why.IRREGULAR)

    def _run(self) -> int:
        return next((count for count, lot in enumerate(reversed(self.since)) if not lot.accepted), len(self.since))

    def standing(self) -> Standing:
        looked_at = self.since[-(WINDOW - 1) :] if self.state is State.NORMAL else self.since
        found, limit = self._limit() if self.state is State.NORMAL and self.route is Route.LIMIT_NUMBERS else (0, None)
        return Standing(
            state=self.state,
            switches=tuple(self.switches),
            lots=len(self.since),
            accepted_run=self._run(),
            not_accepted=sum(not lot.accepted for lot in looked_at),
            score=self.score,
            found=found,
            limit=limit,
        )


def _scored(score: int, lot: LotRecord) -> int:
    """The switching score after a lot on normal inspection (ISO 2859-1:1999, from memory)."""
    if lot.ac >= IN_WINDOW:
        return score + 3 if lot.ac_tighter is not None and lot.nonconforming <= lot.ac_tighter else 0
    return score + 2 if lot.accepted else 0


def states_before(
    history: Sequence[LotRecord],
    *,
    aql: Decimal | float,
    start: State = State.NORMAL,
    route: Route = Route.LIMIT_NUMBERS,
    can_tighten: bool = True,
) -> tuple[State, ...]:
    """The state each lot of a history was inspected under."""
    whole = standing(history, aql=aql, start=start, route=route, can_tighten=can_tighten)
    states, now, after = [], State(start), {switch.index: switch.after for switch in whole.switches}
    for index in range(len(history)):
        states.append(now)
        now = after.get(index, now)
    return tuple(states)
