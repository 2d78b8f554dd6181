"""Run rules on constructed sequences, and their published price in false alarms.

Sequences made for this project (no published source). Average run lengths: 370 for points beyond three sigma and 92 for the four Western
Electric rules (NIST/SEMATECH e-Handbook 6.3.2); exactly 91.75 in Champ and Woodall 1987, Technometrics 29, 393-399 (from memory).
"""

import numpy as np
import pytest
from scipy.special import ndtr

from inspection.process.run_rules import nelson, signals, standard_panel, western_electric

SEQUENCES = [
    ("0.3 -0.8 1.1 -0.4 0.6 3.2 -0.2 0.5", {"nelson.1": [6], "western.1": [6]}),
    ("-0.5 0.4 0.7 0.2 1.2 0.3 0.9 0.1 0.6 0.8 -0.3", {"nelson.2": [10], "western.4": [9, 10]}),
    ("0.4 -1.2 -0.9 -0.3 0.2 0.8 1.4 0.5", {"nelson.3": [7]}),
    ("0.5 -0.4 0.6 -0.7 0.3 -0.2 0.8 -0.9 0.4 -0.5 0.7 -0.3 0.2 -0.6 -0.7", {"nelson.4": [14], "nelson.7": [15]}),
    ("0.2 2.3 0.9 2.4 -0.5 -2.2 -2.1 0.3", {"nelson.5": [4, 7], "western.2": [4, 7]}),
    ("-0.2 1.3 1.6 0.4 1.2 1.8 -0.6", {"nelson.6": [6], "western.3": [6]}),
    ("1.4 0.3 -0.6 0.8 -0.2 0.5 -0.9 0.1 0.7 -0.4 0.6 -0.1 0.2 -0.8 0.4 -0.3 1.5", {"nelson.7": [16]}),
    ("0.4 1.3 -1.2 1.7 -1.5 1.1 -1.9 1.4 -1.6 0.2", {"nelson.8": [9]}),
]


@pytest.mark.parametrize(("sequence", "expected"), SEQUENCES)
def test_sequence_signals_at_the_named_points_and_nowhere_else(sequence, expected):
    found = signals(standard_panel([float(x) for x in sequence.split()]), nelson() + western_electric())
    assert {each.rule.code: [int(at) + 1 for at in each.at] for each in found if len(each)} == expected


# A value inside each zone, from below the lower limit to above the upper one.
ZONES = {-3.5: (-np.inf, -3), -2.5: (-3, -2), -1.5: (-2, -1), -0.5: (-1, 0), 0.5: (0, 1), 1.5: (1, 2), 2.5: (2, 3), 3.5: (3, np.inf)}


def average_run_length(rules, memory):
    """Exact: a Markov chain over what the rules can still see of the past. `memory` reduces a history to that; whether a point signals is
    asked of the rules themselves."""
    chance = {value: float(ndtr(high) - ndtr(low)) for value, (low, high) in ZONES.items()}
    states, histories, rows = {memory(()): 0}, [()], []
    for history in histories:
        row = {}
        for value, share in chance.items():
            longer = (*history, value)
            if any(len(found) for found in signals(standard_panel(longer), rules, newest=1)):
                continue
            key = memory(longer)
            if key not in states:
                states[key] = len(states)
                histories.append(longer[-12:])
            row[states[key]] = row.get(states[key], 0.0) + share
        rows.append(row)
    chain = np.zeros((len(states), len(states)))
    for i, row in enumerate(rows):
        for j, share in row.items():
            chain[i, j] = share
    return float(np.linalg.solve(np.eye(len(states)) - chain, np.ones(len(states)))[0]), len(states)


def western_memory(history):
    run = 0
    for value in reversed(history):
        if (value > 0) != (history[-1] > 0):
            break
        run += 1
    outer = tuple((v > 2) - (v < -2) for v in (0, 0, *history)[-2:])
    middle = tuple((v > 1) - (v < -1) for v in (0, 0, 0, 0, *history)[-4:])
    return outer, middle, run if history and history[-1] > 0 else -run


def test_points_beyond_three_sigma_come_every_370_by_chance():
    length, _ = average_run_length(nelson(1), lambda history: ())
    assert length == pytest.approx(370.398, abs=1e-3)


def test_western_electric_rules_signal_every_92_points_by_chance():
    length, states = average_run_length(western_electric(), western_memory)
    assert length == pytest.approx(91.75, abs=5e-3)
    assert states > 100


def test_simulated_charts_signal_as_often_as_the_exact_run_length_says():
    draw, rules = np.random.default_rng(20), western_electric()
    firsts = []
    for _ in range(40):
        # Zeroes between charts end every run and fill every window.
        table = np.concatenate((draw.standard_normal((150, 1500)), np.zeros((150, 8))), axis=1)
        flagged = np.zeros(table.size, dtype=bool)
        for found in signals(standard_panel(table.ravel()), rules):
            flagged[found.at] = True
        grid = flagged.reshape(table.shape)
        assert grid.any(axis=1).all()
        firsts.extend(grid.argmax(axis=1) + 1)
    # Six thousand charts: standard error about 1.2.
    assert np.mean(firsts) == pytest.approx(91.75, abs=4.0)
