"""The window of crimp heights: where it ends, why, and what is proposed."""

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection.process.regression import fit_curve
from inspection.spc import NotFinite, TooFew
from inspection.studies.crimp_window import Asked, Reason, Response, crimp_window

HEIGHTS = np.repeat([1.10, 1.15, 1.20, 1.25, 1.30, 1.35, 1.40], 5)
NOISE = np.tile([-1.6, -0.8, 0.0, 0.8, 1.6], 7)  # the same at each height: nothing random in a test


def forces(top=130.0, at=1.24, bend=2500.0, noise=1.0):
    """A pull force that is best at one height and falls off to both sides, N."""
    return top - bend * (HEIGHTS - at) ** 2 + noise * NOISE


def resistances(start=0.30, rise=1.2, noise=0.004):
    """A resistance that grows as the crimp gets looser, mΩ."""
    return start + rise * (HEIGHTS - 1.10) + noise * NOISE


def study(low=85.0, high=None, **more):
    asked = [Asked(Response.PULL_FORCE, forces(), low=low)]
    if high is not None:
        asked.append(Asked(Response.RESISTANCE, resistances(), high=high))
    return crimp_window(HEIGHTS, asked, **more)


def test_window_ends_where_the_bound_of_single_pieces_meets_the_limit():
    answer = study()
    curve = fit_curve(HEIGHTS, forces(), 2)
    ends = curve.piece_bound([answer.window.low, answer.window.high], 0.99, 0.95, lower=True)
    assert ends == pytest.approx([85.0, 85.0], abs=1e-6)
    assert (answer.window.low_because, answer.window.high_because) == (Reason.PULL_FORCE, Reason.PULL_FORCE)


def test_window_never_reaches_beyond_the_heights_tried():
    window = study(low=60.0).window
    assert (window.low, window.low_because) == (1.10, Reason.TRIED)


def test_resistance_ends_the_window_before_the_force_does():
    answer = study(high=0.50)
    curve = fit_curve(HEIGHTS, resistances(), 2)
    assert answer.window.high_because is Reason.RESISTANCE
    assert curve.piece_bound([answer.window.high], 0.99, 0.95, lower=False)[0] == pytest.approx(0.50, abs=1e-6)
    assert answer.window.high < study().window.high


def test_proposal_lies_inside_the_window_in_whole_steps():
    answer = study(high=0.50)
    window = answer.window
    assert window.nominal.as_tuple().exponent == window.tolerance.as_tuple().exponent == -2
    assert Decimal(repr(window.low)) <= window.nominal - window.tolerance
    assert window.nominal + window.tolerance <= Decimal(repr(window.high))
    assert window.nominal + window.tolerance + Decimal("0.02") > Decimal(repr(window.high))


def test_compaction_has_two_limits():
    compaction = 30.0 - 60 * (HEIGHTS - 1.10) + 0.2 * NOISE
    answer = crimp_window(HEIGHTS, [Asked(Response.COMPACTION, compaction, low=15.0, high=20.0)], degree=1)
    assert (answer.window.low_because, answer.window.high_because) == (Reason.COMPACTION, Reason.COMPACTION)
    assert 1.10 + 10 / 60 < answer.window.low < answer.window.high < 1.10 + 15 / 60


def test_no_window_names_what_fails():
    answer = study(low=140.0)
    assert (answer.window, answer.failing) == (None, (Response.PULL_FORCE,))
    apart = crimp_window(
        HEIGHTS,
        [Asked(Response.PULL_FORCE, 60 + 100 * (HEIGHTS - 1.10) + NOISE, low=80), Asked(Response.RESISTANCE, resistances(), high=0.40)],
        degree=1,
    )
    assert (apart.window, apart.failing) == (None, (Response.PULL_FORCE, Response.RESISTANCE))


def test_window_too_narrow_for_a_step_proposes_nothing():
    answer = study(step=Decimal(1))
    assert (answer.window.nominal, answer.window.tolerance) == (None, None)


@given(st.floats(0.90, 0.999), st.floats(0.5, 0.99), st.floats(80, 120))
def test_asking_for_more_never_widens_the_window(share, confidence, low):
    wide = study(low=low, share=0.9, confidence=0.5).window
    narrow = study(low=low, share=share, confidence=confidence).window
    assert wide is not None
    assert narrow is None or (wide.low <= narrow.low + 1e-9 and narrow.high <= wide.high + 1e-9)


@given(st.floats(-0.5, 0.5))
def test_window_moves_with_the_heights(shift):
    plain = study(high=0.50).window
    asked = [Asked(Response.PULL_FORCE, forces(), low=85.0), Asked(Response.RESISTANCE, resistances(), high=0.50)]
    moved = crimp_window(HEIGHTS + shift, asked).window
    assert (moved.low - shift, moved.high - shift) == pytest.approx((plain.low, plain.high), abs=1e-6)


def test_what_cannot_be_studied_is_refused():
    with pytest.raises(TooFew) as few:
        crimp_window([1.1] * 10 + [1.2] * 10 + [1.3] * 10, [Asked(Response.PULL_FORCE, [100.0] * 30, low=80)], degree=1)
    assert (few.value.needed, few.value.given) == (4, 3)
    with pytest.raises(ValueError, match="limit"):
        crimp_window(HEIGHTS, [Asked(Response.PULL_FORCE, forces())])
    with pytest.raises(ValueError, match="measured"):
        crimp_window(HEIGHTS, [])
    with pytest.raises(ValueError, match="degree"):
        study(degree=4)
    with pytest.raises(NotFinite):
        crimp_window([*HEIGHTS[:-1], float("nan")], [Asked(Response.PULL_FORCE, forces(), low=80)])
