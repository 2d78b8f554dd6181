"""Worked examples of the GUM (JCGM 100:2008), annexes G and H; figures from memory, recomputed."""

import math
from decimal import Decimal

import pytest

from inspection.studies.uncertainty import Distribution, Evaluation, Source, budget, df_of_doubt, rounded_up


def test_end_gauge_calibration_agrees_with_annex_h_1():
    # All in nm. Standard: U 0.075 um at k 3, 18 degrees of freedom. Observed difference: s 13 nm of 25 earlier readings, mean of 5;
    # comparator, random 0.01 um at t 2.57 (5 df) and systematic 0.02 um at 3 sigma, known to 25 %.
    # Difference of expansion coefficients: 1e-6 per degree, rectangular, known to 10 %, times 50 mm and -0.1 degrees.
    # Difference of temperatures: 0.05 degrees, rectangular, known to 50 %, times 50 mm and 11.5e-6 per degree.
    sources = [
        Source("standard", Evaluation.B, 75, divisor=3, df=18),
        Source("repeated readings", Evaluation.A, 13, divisor=math.sqrt(5), df=24),
        Source("comparator, random", Evaluation.B, 10, divisor=2.57, df=5),
        Source("comparator, systematic", Evaluation.B, 20, divisor=3, df=df_of_doubt(0.25)),
        Source("difference of expansion", Evaluation.B, 1e-6, Distribution.RECTANGULAR, sensitivity=50.000623e6 * 0.1, df=df_of_doubt(0.1)),
        Source(
            "difference of temperature",
            Evaluation.B,
            0.05,
            Distribution.RECTANGULAR,
            sensitivity=-50.000623e6 * 11.5e-6,
            df=df_of_doubt(0.5),
        ),
    ]

    found = budget(sources, coverage=0.99)

    assert [abs(line.contribution) for line in found.lines] == pytest.approx([25, 5.8, 3.9, 6.7, 2.9, 16.6], abs=0.05)
    assert found.u_stated == Decimal(32)
    assert found.df_used == 16
    assert found.k == pytest.approx(2.92, abs=0.005)
    assert found.expanded_stated == Decimal(93)


def test_welch_satterthwaite_agrees_with_the_example_of_annex_g_4():
    # Relative uncertainties 0.25 %, 0.57 %, 0.82 % from 10, 5 and 15 readings: 1.03 %, 19 degrees of freedom, t 2.09, U 2.2 %.
    sources = [Source(str(n), Evaluation.A, percent, df=n - 1) for percent, n in ((0.25, 10), (0.57, 5), (0.82, 15))]

    found = budget(sources, coverage=0.95)

    assert found.u == pytest.approx(1.03, abs=0.005)
    assert found.effective_df == pytest.approx(19.0, abs=0.05)
    assert found.k == pytest.approx(2.09, abs=0.005)
    assert found.expanded_stated == Decimal("2.2")


@pytest.mark.parametrize(("quantity", "published"), [("resistance", 0.071), ("reactance", 0.295), ("impedance", 0.236)])
def test_correlated_sources_agree_with_annex_h_2(quantity, published):
    volt, ampere, phase = 4.9990, 19.661e-3, 1.04446
    z = volt / ampere
    sensitivities = {
        "resistance": (math.cos(phase) / ampere, -z * math.cos(phase) / ampere, -z * math.sin(phase)),
        "reactance": (math.sin(phase) / ampere, -z * math.sin(phase) / ampere, z * math.cos(phase)),
        "impedance": (1 / ampere, -z / ampere, 0.0),
    }[quantity]
    sources = [
        Source(name, Evaluation.A, u, sensitivity=c, df=4)
        for name, u, c in zip(("voltage", "current", "phase"), (0.0032, 0.0095e-3, 0.00075), sensitivities, strict=True)
    ]

    found = budget(sources, correlations={(0, 1): -0.36, (0, 2): 0.86, (1, 2): -0.65}, k=2)

    # The inputs are printed to two digits, so the last printed digit of the result is not theirs to fix.
    assert found.u == pytest.approx(published, rel=0.02)
    assert found.effective_df is None


def test_doubtful_uncertainty_has_the_degrees_of_freedom_of_g_4_2():
    assert df_of_doubt(0.25) == 8


@pytest.mark.parametrize(
    ("value", "stated"),
    [
        (10.47, "11"),
        (28.05, "29"),
        (31.66, "32"),
        (0.1 + 0.2, "0.30"),
        (0.0996, "0.10"),
        (0.00981, "0.0099"),
        (2.0, "2.0"),
        (99.5, "1.0E+2"),
    ],
)
def test_uncertainty_is_stated_in_two_digits_rounded_up(value, stated):
    # The first is the GUM's own example in 7.2.6: 10.47 becomes 11.
    assert str(rounded_up(value)) == stated
