"""What a gauge sends, read by a small description of its line. Pure; the tablet's twin is `js/devices/line.js`, held to the same vectors.

A description is the line as the gauge sends it, with a word in braces for what changes:

    {value}   the figure, with its sign where the gauge puts one before it
    {sign}    a sign that stands apart from the figure
    {unit}    the unit, if it is sent
    {text}    a run of characters without a blank
    {skip}    anything

A blank stands for any number of blanks, none included; every other character for itself. "{text},{text},{sign}{value} {unit}" reads
"ST,GS,+ 1.402 mm". It is no regular expression: it is compiled to one here, with bounded repeats only, so that no line takes long.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

LONGEST_LINE = 120
LONGEST_PATTERN = 80
MOST_OPEN = 3
"""So many of {text} and {skip} may stand in one description; more of them read a line in ways nobody foresees. Our own choice."""

DECIMALS = {"point": ".", "comma": ",", "either": ".,"}

UNITS: dict[str, str] = {
    "mm": "mm", "in": "in", "inch": "in", '"': "in", "″": "in", "um": "µm", "µm": "µm", "μm": "µm",
    "n": "N", "kn": "kN", "lbf": "lbf", "kgf": "kgf",
    "mohm": "mΩ", "mω": "mΩ", "uohm": "µΩ", "µω": "µΩ", "μω": "µΩ", "ohm": "Ω", "ω": "Ω", "%": "%",
}  # fmt: skip
"""What gauges call their unit, in lower case, and what it is called here. kg and lb are masses: such a gauge is switched to kgf or lbf."""

QUANTITY_OF = {
    "mm": "length", "in": "length", "µm": "length", "N": "force", "kN": "force", "lbf": "force", "kgf": "force",
    "mΩ": "resistance", "µΩ": "resistance", "Ω": "resistance", "%": "share",
}  # fmt: skip


class BadLine(ValueError):  # noqa: N818  # reads as what happened
    """A description that reads nothing, or a line that it does not read.

    rule: the code of the refusal; compared: what its sentence needs.
    """

    def __init__(self, rule: str, **compared: str) -> None:
        self.rule, self.compared = rule, compared
        super().__init__(rule, compared)


@dataclass(frozen=True, slots=True)
class Sent:
    """A value as the gauge sent it: its digits, and its unit as it is called here."""

    text: str
    unit: str

    @property
    def quantity(self) -> str:
        return QUANTITY_OF[self.unit]


def compiled(pattern: str, decimal: str = "either") -> str:
    """The regular expression of a description. Raises BadLine.

    >>> compiled("{value} {unit}", "point")
    '^(?<![0-9.,])([+\\\\-−]? *(?:[0-9]{1,9}(?:[.][0-9]{0,9})?|[.][0-9]{1,9}))(?![0-9.,]) *([A-Za-zµμΩΩ%"″°]{0,8})$'
    """
    if not pattern.strip() or len(pattern) > LONGEST_PATTERN:
        raise BadLine("gauge.pattern.length", most=str(LONGEST_PATTERN))
    marks = DECIMALS[decimal]
    parts = {
        "value": rf"(?<![0-9.,])([+\-−]? *(?:[0-9]{{1,9}}(?:[{marks}][0-9]{{0,9}})?|[{marks}][0-9]{{1,9}}))(?![0-9.,])",
        "sign": r"([+\-−]?)",
        "unit": r'([A-Za-zµμΩΩ%"″°]{0,8})',
        "text": r"[^ ]{1,20}",
        "skip": r".{0,60}?",
    }
    pieces = re.findall(r"\{[^{}]*\}|[^{}]|[{}]", pattern.strip())
    names = [piece[1:-1] for piece in pieces if len(piece) > 1]
    stray = next((piece for piece in pieces if piece in "{}"), "") or next((f"{{{name}}}" for name in names if name not in parts), "")
    if stray:
        raise BadLine("gauge.pattern.word", word=stray, words=", ".join(f"{{{name}}}" for name in parts))
    if names.count("value") != 1 or names.count("unit") > 1 or names.count("sign") > 1:
        raise BadLine("gauge.pattern.value")
    if sum(name in ("text", "skip") for name in names) > MOST_OPEN:
        raise BadLine("gauge.pattern.open", most=str(MOST_OPEN))
    written = (parts[piece[1:-1]] if len(piece) > 1 else " *" if piece == " " else _literal(piece) for piece in pieces)
    return "^" + "".join(written) + "$"


def _literal(character: str) -> str:
    return f"\\{character}" if character in r"\^$.*+?()[]{}|/-" else character


def read_line(line: str, pattern: str, decimal: str = "either", unit: str = "") -> Sent:
    """The value in a line. unit: what is taken where the gauge sends none. Raises BadLine."""
    bare = line.strip(" \t\r\n")
    if len(bare) > LONGEST_LINE:
        raise BadLine("gauge.line.long", most=str(LONGEST_LINE))
    order = re.findall(r"\{(value|sign|unit)\}", pattern)
    match = re.search(compiled(pattern, decimal), bare, re.ASCII)
    if match is None:
        raise BadLine("gauge.line.other", line=_shown(bare), pattern=pattern)
    found = dict(zip(order, match.groups(), strict=True))
    text = found["value"].replace(" ", "").replace(",", ".")
    negative = text.startswith(("-", "−")) != (found.get("sign", "") in ("-", "−"))
    digits = text.lstrip("+-−")
    whole, mark, fraction = digits.partition(".")
    whole = whole.lstrip("0") or "0"  # gauges fill up with zeros: they say nothing about the resolution
    digits = f"{whole}.{fraction}" if mark and fraction else whole
    return Sent(f"-{digits}" if negative else digits, _unit(found.get("unit", "") or unit))


def _unit(sent: str) -> str:
    if sent.startswith("M") and sent.lower().startswith(("mohm", "mω")):
        raise BadLine("gauge.line.unit", unit=sent)  # a megohm is no milliohm
    known = UNITS.get(sent.lower())
    if known is None:
        raise BadLine("gauge.line.unit", unit=sent or "–")
    return known


def _shown(line: str) -> str:
    return "".join(c if c.isprintable() else "·" for c in line)
