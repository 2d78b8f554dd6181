"""One worked example of every kind whose values are typed: published data where there is any, else invented figures of an invented shop."""

from __future__ import annotations

import csv
from dataclasses import dataclass, field
from pathlib import Path

DATA = Path(__file__).parents[2] / "reference" / "data"
SPREAD = {"tolerance": "", "one_limit": "", "process_sigma": "", "sigmas": "6"}


@dataclass(frozen=True)
class Example:
    """gauge, terminal: names of items of the catalogue, empty for none. values: by place, as typed."""

    kind: str
    set_up: dict[str, str]
    values: dict[str, str]
    gauge: str = "micrometer"
    subjects: dict[str, str] = field(default_factory=dict)


def table(name):
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def repeatability(**changed):
    """AIAG, Measurement Systems Analysis, 4th ed., III-B: 3 appraisers, 3 trials, 10 parts."""
    set_up = {"appraisers": "A\nB\nC", "parts": "10", "trials": "3", "method": "anova", "alpha": "0.05"} | SPREAD | changed
    values = {f"{row['appraiser']}|{row['part']}|{row['trial']}": row["value"] for row in table("grr_3x3x10.csv")}
    return Example("repeatability", set_up, values)


FIFTEEN = ("5.8", "5.7", "5.9", "5.9", "6.0", "6.1", "6.0", "6.1", "6.4", "6.3", "6.0", "6.1", "6.2", "5.6", "6.0")


def bias(**changed):
    """The same, III-B: 15 readings of a part of 6.0."""
    set_up = {"reference": "6.0", "readings": "15", "process_sigma": ""} | changed
    return Example("bias", set_up, {str(number): text for number, text in enumerate(FIFTEEN, start=1)})


def linearity(**changed):
    """The same, III-B: five parts, twelve readings each."""
    rows = table("linearity_5x12.csv")
    references = list(dict.fromkeys(row["reference"] for row in rows))
    set_up = {"references": "\n".join(references), "readings": "12", "spread": ""} | changed
    return Example("linearity", set_up, {f"{row['part']}|{row['trial']}": row["value"] for row in rows})


def stability(checks=22, drift=0.0, **changed):
    """Invented: a master of 2.000 mm, three readings twice a week, with a drift per check."""
    set_up = {"checks": "24", "readings": "3", "reference": "2.000", "tolerance": "0.05"}
    set_up |= {"low": "", "center": "", "high": "", "range_high": ""} | changed
    values = {}
    for check in range(1, checks + 1):
        day = 2 + (check - 1) * 3
        values[f"{check}|day"] = f"2026-{3 + day // 30:02d}-{day % 30 + 1:02d}"
        wobble = 0.0005 * ((check * 5) % 4 - 1.5) + drift * (check - 1)
        for number in range(1, 4):
            values[f"{check}|{number}"] = f"{2.0 + wobble + 0.0008 * ((check * 7 + number * 11) % 5 - 2):.4f}"
    return Example("stability", set_up, values)


def pull_tester(**changed):
    """Invented: three inspectors, five batches each, four pieces a batch, in N, against a least force of 85 N."""
    set_up = {"appraisers": "Berger\nConti\nDuval", "batches": "5", "pieces": "4"} | SPREAD | {"one_limit": "85"} | changed
    values = {}
    for a, person in enumerate(("Berger", "Conti", "Duval")):
        for batch in range(1, 6):
            for piece in range(1, 5):
                force = 118 + 6 * ((batch * 3 + a) % 5 - 2) + 0.8 * a + 0.5 * ((batch * 7 + piece * 5 + a * 3) % 7 - 3)
                values[f"{person}|{batch}|{piece}"] = f"{force:.1f}"
    return Example("pull-tester", set_up, values, gauge="pull_tester")


def measuring_system(**changed):
    """Invented: 25 readings of a master of 2.000 mm."""
    process = ("repeatability", "reproducibility", "interaction", "stability", "parts", "temperature", "gauges", "other")
    set_up = {"reference": "2.000", "tolerance": "0.10", "readings": "25", "calibration": "0.001", "linearity": "", "other": ""}
    set_up |= {f"process_{name}": "" for name in process} | {"q_ms_limit": "15", "q_mp_limit": "30"}
    set_up |= {"process_repeatability": "0.0015", "process_reproducibility": "0.002"} | changed
    values = {str(n): f"{2.0005 + 0.0006 * ((n * 7) % 5 - 2):.4f}" for n in range(1, 26)}
    return Example("measuring-system", set_up, values)


def uncertainty(**changed):
    """Invented: a micrometer, in mm."""
    rows = {
        "calibration": ("B", "normal, k = 2", "0.0016", "", "", ""),
        "repeatability": ("A", "normal", "0.0009", "", "", "24"),
        "resolution": ("B", "rectangular", "0.0005", "", "", ""),
        "temperature": ("B", "U-shaped", "3", "", "0.000023", ""),
        "shape of the crimp": ("B", "triangular", "0.002", "", "1", "8"),
    }
    set_up = {"sources": "\n".join(rows), "coverage": "t", "tolerance": "0.10"} | changed
    fields = ("type", "distribution", "value", "divisor", "sensitivity", "df")
    values = {
        f"{number}|{name}": text
        for number, row in enumerate(rows.values(), start=1)
        for name, text in zip(fields, row, strict=True)
        if text
    }
    return Example("uncertainty", set_up, values)


def inspectors(known=True, **changed):
    """Invented: three inspectors, twenty pieces, two trials; the second lets one bad piece pass, the third rejects good ones."""
    set_up = {"criterion": "Bellmouth to be seen", "appraisers": "Berger\nConti\nDuval", "items": "20", "trials": "2"}
    set_up |= {"known": "yes" if known else ""} | changed
    values = {}
    for item in range(1, 21):
        right = "reject" if item % 3 == 0 else "accept"
        if known:
            values[f"reference|{item}"] = right
        for trial in (1, 2):
            values[f"Berger|{item}|{trial}"] = right
            values[f"Conti|{item}|{trial}"] = "accept" if (item, trial) == (9, 2) else right
            values[f"Duval|{item}|{trial}"] = "reject" if item in (4, 10) and trial == 1 else right
    return Example("inspectors", set_up, values, gauge="")


def one_part():
    set_up = {"reference": "2.000", "tolerance": "0.10", "readings": "25", "fraction": "0.2", "sigmas": "6", "required": "1.33"}
    return Example("one-part", set_up, {str(n): f"{2.0 + 0.001 * ((7 * n) % 5 - 2):.4f}" for n in range(1, 26)})


ALL = (one_part, repeatability, pull_tester, bias, linearity, stability, measuring_system, uncertainty, inspectors)
