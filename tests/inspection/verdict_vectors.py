"""What server and tablet have to agree on: typed values with their answers. `python -m tests.inspection.verdict_vectors` writes them anew.

The answers in the file are the server's; a change there is seen in the file's difference and read by a person.
"""

from __future__ import annotations

import itertools
import json
from decimal import Decimal
from pathlib import Path
from typing import Any

from inspection.acts.samples import LARGEST
from inspection.guard_band import GuardRule, RuleDoesNotApply, decide, zone
from inspection.verdict import Limits, Plausible, misread, parse_reading, plausibility
from shop.quantity import NotAQuantity

FILE = Path(__file__).parent / "vectors" / "verdicts.json"


def text_of(value: Decimal | None) -> str | None:
    return None if value is None else format(value, "f")


def case(
    text: str,
    *,
    unit: str = "mm",
    quantity: str = "length",
    low: str | None = "1.35",
    nominal: str | None = None,
    high: str | None = "1.45",
    rule: GuardRule = GuardRule.SIMPLE,
    u: str | None = None,
    confirmed: bool = False,
) -> dict[str, Any]:
    """One case as both sides read it: the zone is computed by the server and travels in the pack."""
    limits = Limits(low and Decimal(low), high and Decimal(high), nominal and Decimal(nominal))
    within = zone(limits, rule, u and Decimal(u))
    return {
        "text": text,
        "unit": unit,
        "quantity": quantity,
        "limits": {"low": low, "nominal": nominal, "high": high},
        "zone": {
            "proven_low": text_of(within.proven_low),
            "proven_high": text_of(within.proven_high),
            "reject_below": text_of(within.reject_below),
            "reject_above": text_of(within.reject_above),
            "nothing_proven": within.nothing_proven,
        },
        "guard": {"rule": rule.value, "u": u},
        "confirmed": confirmed,
    }


def server_answer(given: dict[str, Any]) -> dict[str, Any]:
    """The server's own code on one case."""
    stated = {name: value and Decimal(value) for name, value in given["limits"].items()}
    limits = Limits(stated["low"], stated["high"], stated["nominal"])
    try:
        typed = parse_reading(given["text"], given["unit"], given["quantity"])
    except NotAQuantity as error:
        return {"state": "refused", "rule": misread(error).rule}
    if not 0 <= typed.value < LARGEST[given["quantity"]]:
        return {"state": "refused", "rule": "reading.impossible"}
    believed = plausibility(typed.value, limits)
    if believed.kind is not Plausible.OK and not given["confirmed"]:
        return {"state": "doubt", "seems": believed.kind.value, "suggestion": text_of(believed.suggestion)}
    u = given["guard"]["u"]
    decision = decide(typed.value, zone(limits, GuardRule(given["guard"]["rule"]), u and Decimal(u)))
    return {
        "state": "judged",
        "outcome": decision.outcome.value,
        "value": text_of(typed.value + 0),  # no negative zero
        "number": typed.number,
        "unit": typed.unit,
    }


EDGES = ("1.3499", "1.35", "1.350", "1.3500001", "1.4", "1.40", "1.4499999", "1.45", "1.4500", "1.4501", "1,40", "1,400", "0,140", ",140")
SPELLED = (
    "",
    " ",
    "abc",
    "1.40 mm",
    "1.40mm",
    "1.40 MM",
    "0.0551 in",
    '0.0551"',
    "0.0551″",
    "1400 µm",
    "1400 μm",
    "1400um",
    "55.1 mil",
    "55,1 thou",
    "0.14 cm",
    "0.0014 m",
    "1.40 N",
    "1.40 mm2",
    "1.40 furlong",
    "1.40 m m",
    "1.4.0",
    "1,4,0",
    "1.234,5",
    "1 400",
    "1'400",
    "1 400 µm",
    "+1.40",
    "-1.40",
    "−1.40",
    "1.40e0",
    "14E-1",
    "1.4e99",
    "1e-30",
    "nan",
    "inf",
    "-infinity mm",
    "∞",
    "1234567890123456",
    "123456789012345",
    "0.00000000000001",
    "1" * 41,
    "1.40 " + "x" * 40,
    "\xa01.40\xa0mm ",
    "\u20091.40",
    "١.٤٠",
    "14",
    "0.14",
    "140",
    "0.0014",
    "1400",
    "35.56",
    "0.055",
    "9999.9999",
    "10000",
    "0",
    "-0",
    "0.00",
)
FORCES = (
    "85",
    "84.99",
    "85.0001",
    "19.1 lbf",
    "19.11 lbf",
    "0.085 kN",
    "8.67 kgf",
    "305.8 ozf",
    "85 kg",
    "19 lb",
    "850",
    "8.5",
    "340",
    "341",
    "0.5",
)
RESISTANCES = ("0.85", "850 µΩ", "850 uohm", "0.00085 Ω", "0.85 MΩ", "0.85 mΩ", "0.85 Mohm", "0.85 mOhm", "1.00", "1.001", "0")
SHARES = ("80", "84.9", "85 %", "90,5 %", "0.85", "100", "1000")
RULES: tuple[tuple[GuardRule, str], ...] = (
    (GuardRule.EXPANDED, "0.001"),
    (GuardRule.EXPANDED, "0.0125"),
    (GuardRule.EXPANDED, "0.03"),
    (GuardRule.CONFORMANCE_95, "0.001"),
    (GuardRule.CONFORMANCE_95, "0.02"),
    (GuardRule.FOUR_TO_ONE, "0.004"),
    (GuardRule.FALSE_ACCEPT_2, "0.01"),
)
GUARDED = (
    "1.350",
    "1.352",
    "1.3520001",
    "1.3519999",
    "1.348",
    "1.34799",
    "1.398",
    "1.40",
    "1.4249",
    "1.425",
    "1.448",
    "1.4481",
    "1.452",
    "1.4521",
)


def made() -> list[dict[str, Any]]:
    """Every case, without answers."""
    cases = [case(text, confirmed=confirmed) for text in (*EDGES, *SPELLED) for confirmed in (False, True)]
    cases += [case(text, unit=unit) for text in ("0.0551", "1.40", "1.40 mm", "1,4") for unit in ("in", "µm", "MM", "N", "")]
    cases += [case(text, nominal="1.40") for text in EDGES]
    for text, confirmed in itertools.product(FORCES, (False, True)):
        cases.append(case(text, unit="N", quantity="force", low="85", high=None, confirmed=confirmed))
        cases.append(case(text, unit="lbf", quantity="force", low="85", high=None, confirmed=confirmed))
    cases += [
        case(text, unit="mΩ", quantity="resistance", low=None, high="1.00", confirmed=c) for text in RESISTANCES for c in (False, True)
    ]
    cases += [case(text, unit="%", quantity="share", low="80", high="90", confirmed=c) for text in SHARES for c in (False, True)]
    cases += [case(text, rule=rule, u=u, confirmed=True) for (rule, u), text in itertools.product(RULES, GUARDED)]
    cases += [
        case(text, unit="N", quantity="force", low="85", high=None, rule=GuardRule.EXPANDED, u="0.5")
        for text in ("84", "85", "85.9", "86", "83.9")
    ]
    return cases


def possible(given: dict[str, Any]) -> bool:
    """Whether the rule can be used with these limits at all."""
    try:
        server_answer(given)
    except RuleDoesNotApply:
        return False
    return True


if __name__ == "__main__":
    listed = [one | {"answer": server_answer(one)} for one in made()]
    FILE.parent.mkdir(exist_ok=True)
    FILE.write_text("[\n" + ",\n".join(json.dumps(one, ensure_ascii=False, sort_keys=True) for one in listed) + "\n]\n")
