"""Charts, run rules and capability over a million readings, against the bare numpy passes each cannot do without.

By hand:  .venv/bin/python -m tests.benchmarks.bench_process [readings]
Both sides are measured in the same run, taking turns; the smallest of several times is kept, as other work on the machine only adds.
Ratios travel between machines, seconds do not.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np

from inspection.process.attributes import p_chart
from inspection.process.capability import Specification, capability
from inspection.process.charts import individuals_chart, xbar_r_chart, xbar_s_chart
from inspection.process.memory import cusum_chart, ewma_chart
from inspection.process.run_rules import chart_signals, nelson, signals, western_electric
from inspection.process.sigma import Estimator


def fastest(*acts: Callable[[], object], times: int = 7) -> list[float]:
    """Smallest seconds of each act, taking turns."""
    spent = [[] for _ in acts]
    for _ in range(times):
        for act, kept in zip(acts, spent, strict=True):
            begin = time.perf_counter()
            act()
            kept.append(time.perf_counter() - begin)
    return [min(kept) for kept in spent]


def main(count: int) -> None:
    draw = np.random.default_rng(1)
    values = draw.normal(1.40, 0.01, count)
    table = values[: count // 5 * 5].reshape(-1, 5)
    found = draw.binomial(200, 0.03, count).astype(float)
    sizes = draw.integers(150, 250, count).astype(float)
    rules = nelson() + western_electric()
    individuals, ranges, means = individuals_chart(values), xbar_r_chart(table), table.mean(axis=1)
    specification = Specification(1.36, 1.44, 1.40)

    def bare_individuals() -> object:
        """Mean, moving ranges and their mean."""
        return values.mean(), np.abs(np.diff(values)).mean()

    def bare_xbar_r() -> object:
        return table.mean(axis=1).mean(), (table.max(axis=1) - table.min(axis=1)).mean()

    def bare_xbar_s() -> object:
        return table.mean(axis=1).mean(), table.std(axis=1, ddof=1).mean()

    def bare_shares() -> object:
        shares = found / sizes
        error = np.sqrt(1 / sizes)
        return shares, 0.03 - 0.5 * error, 0.03 + 0.5 * error, found.sum() / sizes.sum()

    def bare_cumulative() -> object:
        """Two sums, their running minimum, mean and standard deviation."""
        center, sigma = values.mean(), np.abs(np.diff(values)).mean()
        up, down = np.cumsum(values - center - sigma), np.cumsum(center - sigma - values)
        return np.minimum.accumulate(up), np.minimum.accumulate(down)

    def bare_flags(points: np.ndarray) -> object:
        """Each point against limits, zone lines and centre, and its step from the one before: what twelve rules have to know."""
        step = np.diff(points)
        return [points > 1.40 + k * 0.01 for k in (0, 1, 2, 3)], [points < 1.40 - k * 0.01 for k in (0, 1, 2, 3)], step > 0, step < 0

    def bare_stability() -> object:
        """Limits, centre and steps for four rules, and the moving ranges against theirs."""
        step = np.diff(values)
        lines = (values > 1.43, values < 1.37, values > 1.40, values < 1.40, step > 0, step < 0)
        return lines, np.abs(step) > 0.04, values.mean(), np.abs(step).mean()

    def bare_capability() -> object:
        """What the overall indices need, and the readings outside."""
        return values.mean(), values.std(ddof=1), np.count_nonzero(values < 1.36), np.count_nonzero(values > 1.44)

    pairs: list[tuple[str, Callable[[], object], Callable[[], object]]] = [
        ("individuals and moving range", lambda: individuals_chart(values), bare_individuals),
        ("Xbar-R, subgroups of five", lambda: xbar_r_chart(table), bare_xbar_r),
        ("Xbar-s, subgroups of five", lambda: xbar_s_chart(table, sigma_by=Estimator.POOLED), bare_xbar_s),
        ("shares of unequal samples", lambda: p_chart(found, sizes), bare_shares),
        ("EWMA", lambda: ewma_chart(values), bare_cumulative),
        ("CUSUM", lambda: cusum_chart(values), bare_cumulative),
        ("twelve rules on individuals", lambda: signals(individuals.location, rules), lambda: bare_flags(values)),
        ("twelve rules on both panels of Xbar-R", lambda: chart_signals(ranges, rules), lambda: (bare_flags(means), bare_flags(means))),
        ("capability without stability", lambda: capability(values, specification, ordered=False), bare_capability),
        (
            "capability with chart and four rules",
            lambda: capability(values, specification),
            lambda: (bare_stability(), bare_capability()),
        ),
        (
            "chart, twelve rules and capability",
            lambda: (signals(individuals_chart(values).location, rules), capability(values, specification)),
            lambda: (bare_individuals(), bare_flags(values), bare_capability()),
        ),
    ]
    print(f"{count} readings; ours and the bare passes in ms, and their ratio")
    for name, ours, bare in pairs:
        own, base = fastest(ours, bare)
        print(f"{name:40s} {own * 1e3:8.1f} {base * 1e3:8.1f}   {own / base:5.1f}")
    (live,) = fastest(lambda: signals(individuals.location, rules, newest=1), times=50)
    print(f"twelve rules for the newest point of them all: {live * 1e6:.0f} microseconds")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
