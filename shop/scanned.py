"""What a scanned text is: a GS1 element string, a GS1 Digital Link, a label of our own, or a plain number.

Pure: text in, dataclasses out. Which wire, reel or tool a text belongs to is asked of the database elsewhere.

The table of application identifiers, the character sets, the rule of predefined lengths and the check digit follow the GS1 General
Specifications (sections 3, 7.8 and 7.9), the path form of a link the GS1 Digital Link URI Syntax; both are public. The table is from
memory and holds what labels of wires, terminals, tools and cartons carry; an identifier that is not in it is refused by name.
"""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from urllib.parse import parse_qsl, quote, unquote, urlsplit

SEPARATOR = "\x1d"
"""The group separator: how FNC1 between two element strings arrives."""

LONGEST = 200
"""Characters that are taken from one scan. A line of Code 128 holds 48, a matrix symbol on a label rarely more than 100. Our own choice."""

SEPARATOR_AS_TYPED = ("␝", "<GS>", "{GS}", "^]")
"""How the separator looks where a scanner was set up to send it in letters."""


class NotALabel(ValueError):  # noqa: N818  # reads as what happened
    """A text that begins like a label and is none. rule: the code of the refusal; compared: what its sentence needs."""

    def __init__(self, rule: str, **compared: int | str) -> None:
        self.rule = rule
        self.compared = {name: visible(value) if isinstance(value, str) else value for name, value in compared.items()}
        super().__init__(rule, compared)

    def __str__(self) -> str:
        return f"{self.rule}: {self.compared}"


@dataclass(frozen=True, slots=True)
class Identifier:
    """An application identifier. least, most: characters of its data. digits: figures only. check: figures at its beginning that end with
    a check digit, 0 where there is none."""

    ai: str
    title: str
    least: int
    most: int
    digits: bool = False
    check: int = 0


def _fixed(ai: str, title: str, length: int, *, check: bool = False) -> Identifier:
    return Identifier(ai, title, length, length, digits=True, check=length if check else 0)


def _upto(ai: str, title: str, most: int, *, digits: bool = False) -> Identifier:
    return Identifier(ai, title, 1, most, digits=digits)


_TABLE = (
    _fixed("00", "container code (SSCC)", 18, check=True),
    _fixed("01", "item number (GTIN)", 14, check=True),
    _fixed("02", "item number of the contents (GTIN)", 14, check=True),
    _upto("10", "batch or lot", 20),
    _fixed("11", "production date", 6),
    _fixed("12", "due date", 6),
    _fixed("13", "packaging date", 6),
    _fixed("15", "best before date", 6),
    _fixed("16", "sell by date", 6),
    _fixed("17", "expiry date", 6),
    _fixed("20", "internal product variant", 2),
    _upto("21", "serial number", 20),
    _upto("22", "consumer product variant", 20),
    _upto("235", "third party serial number", 28),
    _upto("240", "additional item number", 30),
    _upto("241", "customer's part number", 30),
    _upto("242", "made-to-order variation", 6, digits=True),
    _upto("243", "packaging component number", 20),
    _upto("250", "secondary serial number", 30),
    _upto("251", "reference to the source", 30),
    Identifier("253", "document type identifier (GDTI)", 13, 30, check=13),
    _upto("254", "place extension", 20),
    _upto("30", "variable count", 8, digits=True),
    *(
        _fixed(f"{ai}{point}", title, 6)
        for ai, title in (
            ("310", "net weight, kg"),
            ("311", "length, m"),
            ("312", "width or diameter, m"),
            ("313", "height, m"),
            ("314", "area, m²"),
            ("315", "net volume, l"),
            ("316", "net volume, m³"),
            ("320", "net weight, lb"),
            ("321", "length, in"),
            ("322", "length, ft"),
            ("323", "length, yd"),
            ("330", "gross weight, kg"),
            ("340", "gross weight, lb"),
        )
        for point in range(6)
    ),
    _upto("37", "count of items contained", 8, digits=True),
    _upto("400", "customer's order number", 30),
    _upto("401", "consignment number", 30),
    _fixed("402", "shipment number", 17, check=True),
    _upto("403", "route", 30),
    *(
        _fixed(ai, title, 13, check=True)
        for ai, title in (
            ("410", "ship to (GLN)"),
            ("411", "bill to (GLN)"),
            ("412", "purchased from (GLN)"),
            ("413", "ship for (GLN)"),
            ("414", "place (GLN)"),
            ("415", "pay to (GLN)"),
            ("416", "production or service place (GLN)"),
            ("417", "party (GLN)"),
        )
    ),
    _upto("420", "ship to postal code", 20),
    Identifier("421", "ship to postal code with country", 4, 12),
    _fixed("422", "country of origin", 3),
    _fixed("426", "country of full processing", 3),
    _fixed("7003", "expiry date and time", 10),
    Identifier("8003", "returnable asset (GRAI)", 14, 30, check=14),
    _upto("8004", "individual asset (GIAI)", 30),
    _fixed("8005", "price per unit of measure", 6),
    Identifier("8006", "piece of an item", 18, 18, digits=True, check=14),
    Identifier("8008", "production date and time", 8, 12, digits=True),
    _upto("8010", "component or part", 30),
    _upto("8011", "serial number of a component or part", 12, digits=True),
    _fixed("8017", "service provider (GSRN)", 18, check=True),
    _fixed("8018", "service recipient (GSRN)", 18, check=True),
    _upto("8020", "payment slip reference", 25),
    _upto("8200", "product address", 70),
    _upto("90", "agreed between the partners", 30),
    *(_upto(str(ai), "company internal", 90) for ai in range(91, 100)),
)
IDENTIFIERS: Mapping[str, Identifier] = {row.ai: row for row in _TABLE}

# Beginnings whose length everybody knows (figure "predefined length"): no separator is needed after them, whatever else their table says.
PREDEFINED: Mapping[str, int] = {
    "00": 20,
    "01": 16,
    "02": 16,
    "03": 16,
    "04": 18,
    "20": 4,
    "41": 16,
    **{f"1{n}": 8 for n in range(1, 10)},
    **{f"3{n}": 10 for n in range(1, 7)},
}

_CHARACTERS = re.compile(r"[!\"%&'()*+,\-./0-9:;<=>?A-Z_a-z]*")
_DATES = frozenset({"11", "12", "13", "15", "16", "17"})


@dataclass(frozen=True, slots=True)
class Element:
    """One element string: its application identifier and its data."""

    ai: str
    data: str

    @property
    def title(self) -> str:
        return IDENTIFIERS[self.ai].title


class Kind(StrEnum):
    GS1 = "gs1"
    LINK = "link"
    TRAVELLER = "traveller"
    BAG_TAG = "bag tag"
    ADDRESS = "address"
    PLAIN = "plain"


@dataclass(frozen=True, slots=True)
class Place:
    """What a traveller or bag tag of ours names. end: empty on a bag tag."""

    sheet: str
    revision: int
    lead: str
    end: str = ""
    bag: int = 0


@dataclass(frozen=True, slots=True)
class Scanned:
    """A scanned text, taken apart.

    text: without the symbology identifier, with a GS1 string written in brackets as it stands under the symbol; this is what is shown and
    kept. symbology: as sent, such as "]d2", or "".
    """

    text: str
    kind: Kind
    symbology: str = ""
    elements: tuple[Element, ...] = ()
    place: Place | None = None

    def data(self, *identifiers: str) -> str:
        """The data of the first of these identifiers that is there, or ""."""
        by_ai = {element.ai: element.data for element in self.elements}
        return next((by_ai[ai] for ai in identifiers if ai in by_ai), "")

    @property
    def gtin(self) -> str:
        return self.data("01", "02")

    @property
    def lot(self) -> str:
        return self.data("10")

    @property
    def serial(self) -> str:
        """The serial number of one spool or reel, or the code of the one container it is."""
        return self.data("21", "250", "00")

    def expires_on(self, today: date) -> date | None:
        """The last day on which the label allows its use, from an expiry date (17) or an expiry date and time (7003); None without one.

        A label writes two figures of the year: of the hundred years around `today` the one that fits, by the General Specifications
        (section 7.12, from memory): up to 50 years ahead, up to 49 back. A day 00 is the end of its month.
        """
        data = self.data("17", "7003")
        if not data:
            return None
        ahead = (int(data[:2]) - today.year + 49) % 100 - 49
        year, month, day = today.year + ahead, int(data[2:4]), int(data[4:6])
        last = monthrange(year, month)[1]
        return date(year, month, min(day, last) if day else last)

    @property
    def part_number(self) -> str:
        """A part number in the clear: the customer's, or the additional one."""
        return self.data("241", "240")


def check_digit(digits: str) -> str:
    """The GS1 check digit of the figures before it: weights 3, 1, 3 ... from the right, then up to the next ten.

    >>> check_digit("629104150021")
    '3'
    """
    total = sum(int(figure) * (3 if place % 2 == 0 else 1) for place, figure in enumerate(reversed(digits)))
    return str(-total % 10)


def gtin14(text: str) -> str:
    """An item number of 8, 12, 13 or 14 figures as the 14 that a symbol carries. Raises NotALabel."""
    if not re.fullmatch(r"[0-9]{8}|[0-9]{12,14}", text, re.ASCII):
        raise NotALabel("scan.gtin", data=text)
    padded = text.rjust(14, "0")
    _check_checked("01", padded, 14)
    return padded


def visible(text: str) -> str:
    """A text in which nothing is hidden: the separator as its own sign, other control characters as a dot."""
    return "".join("␝" if c == SEPARATOR else c if c.isprintable() else "·" for c in text)


_SYMBOLOGY = re.compile(r"\][A-Za-z][0-9A-Za-z]")
_GS1_SYMBOLOGIES = frozenset({"]C1", "]e0", "]e1", "]e2", "]d2", "]Q3", "]J1"})
"""AIM symbology identifiers (ISO/IEC 15424) that say the data are GS1 element strings."""
_EAN = frozenset({"]E0", "]E4"})
_BRACKETED = re.compile(r"(?:\([0-9]{2,4}\)[^(]+)(?:\([0-9]{2,4}\).+)*", re.DOTALL)
_TRAVELLER = re.compile(r"(?P<sheet>.+) rev (?P<revision>[0-9]{1,6}) (?P<lead>.+)/(?P<end>[^/]+)")
_BAG_TAG = re.compile(r"(?P<sheet>.+) rev (?P<revision>[0-9]{1,6}) (?P<lead>[^/]+?)(?: bag (?P<bag>[0-9]{1,6}))?")


def read_scan(text: str) -> Scanned:
    """What a scanned or typed text is. Raises NotALabel for a text that says it is GS1 and breaks its rules, and for control characters."""
    if len(text) > LONGEST:
        raise NotALabel("scan.too_long", length=len(text), most=LONGEST)
    bare = text.strip(" \t\r\n")
    for typed in SEPARATOR_AS_TYPED:
        bare = bare.replace(typed, SEPARATOR)
    found = _SYMBOLOGY.match(bare)
    symbology = found.group() if found and len(bare) > 3 else ""
    bare = bare[len(symbology) :] if symbology else bare
    if symbology in _GS1_SYMBOLOGIES or SEPARATOR in bare:
        return _gs1(_elements(bare.strip(SEPARATOR)), symbology)
    if any(ord(character) < 32 or ord(character) == 127 for character in bare):
        raise NotALabel("scan.characters", data=bare)
    if symbology in _EAN and re.fullmatch(r"[0-9]{8}|[0-9]{12,13}", bare, re.ASCII):
        return _gs1((Element("01", gtin14(bare)),), symbology)
    if _BRACKETED.fullmatch(bare):
        return _gs1(_bracketed(bare), symbology)
    if re.match(r"https?://", bare, re.IGNORECASE):
        linked = _link(bare)
        return Scanned(_human(linked), Kind.LINK, symbology, linked) if linked else Scanned(bare, Kind.ADDRESS, symbology)
    if own := _TRAVELLER.fullmatch(bare):
        return Scanned(bare, Kind.TRAVELLER, symbology, place=Place(own["sheet"], int(own["revision"]), own["lead"], own["end"]))
    if own := _BAG_TAG.fullmatch(bare):
        return Scanned(
            bare, Kind.BAG_TAG, symbology, place=Place(own["sheet"], int(own["revision"]), own["lead"], "", int(own["bag"] or 0))
        )
    return Scanned(bare, Kind.PLAIN, symbology)


def read_unmarked(text: str) -> Scanned | None:
    """A plain text as the element strings of a scanner that sends no symbology identifier; None unless it begins with an item number or a
    container code whose check digit is right, and every element after it fits.

    For a text that is nothing of the shop's own: only then is the second reading tried.
    """
    if not re.match(r"01[0-9]{14}|02[0-9]{14}|00[0-9]{18}", text.strip(), re.ASCII):
        return None
    try:
        return _gs1(_elements(text.strip()), "")
    except NotALabel:
        return None


def build(elements: Iterable[Element]) -> str:
    """The element strings as a symbol carries them after its FNC1: a separator after each whose length is not predefined, but the last.

    Raises NotALabel for data that its identifier does not allow.
    """
    listed = list(elements)
    parts = []
    for element in listed:
        _check(element)
        parts.append(element.ai + element.data + ("" if element.ai[:2] in PREDEFINED else SEPARATOR))
    return "".join(parts).removesuffix(SEPARATOR)


def build_link(elements: Iterable[Element], domain: str) -> str:
    """The same as a GS1 Digital Link below `domain` (such as "https://label.example"): key and qualifiers in the path, the rest as a query.

    Raises NotALabel where no identifier can stand as the key.
    """
    listed = list(elements)
    key = next((e for e in listed if e.ai in _KEYS), None)
    if key is None:
        raise NotALabel("scan.link")
    qualifiers = [e for ai in _QUALIFIERS.get(key.ai, ()) for e in listed if e.ai == ai]
    path = "".join(f"/{e.ai}/{quote(e.data, safe='')}" for e in (key, *qualifiers))
    rest = [e for e in listed if e is not key and e not in qualifiers]
    query = "&".join(f"{e.ai}={quote(e.data, safe='')}" for e in rest)
    return f"{domain.rstrip('/')}{path}" + (f"?{query}" if query else "")


def _gs1(elements: tuple[Element, ...], symbology: str) -> Scanned:
    return Scanned(_human(elements), Kind.GS1, symbology, elements)


def _human(elements: Iterable[Element]) -> str:
    return "".join(f"({e.ai}){e.data}" for e in elements)


def _identifier_at(text: str) -> Identifier:
    """The identifier a text begins with. No identifier is the beginning of another."""
    for length in (2, 3, 4):
        row = IDENTIFIERS.get(text[:length])
        if row is not None and len(text) >= length:
            return row
    raise NotALabel("scan.identifier", ai=text[:4])


def _elements(text: str) -> tuple[Element, ...]:
    """Element strings one after the other, separated where they need it."""
    if not text:
        raise NotALabel("scan.empty")
    found: list[Element] = []
    rest = text
    while rest:
        row = _identifier_at(rest)
        body = rest[len(row.ai) :]
        predefined = PREDEFINED.get(row.ai[:2])
        if predefined is not None:
            length = predefined - len(row.ai)
            data, rest = body[:length], body[length:].removeprefix(SEPARATOR)  # a separator too many is forgiven, as readers have to
        else:
            data, _, rest = body.partition(SEPARATOR)
        element = Element(row.ai, data)
        _check(element)
        found.append(element)
    return _all_together(found)


def _bracketed(text: str) -> tuple[Element, ...]:
    """The writing under a symbol, typed: "(01)09506000134352(10)ABC". A bracket that no identifier follows belongs to the data."""
    marks = [m for m in re.finditer(r"\(([0-9]{2,4})\)", text) if m[1] in IDENTIFIERS]
    if not marks or marks[0].start() != 0:
        raise NotALabel("scan.identifier", ai=text[1:5].partition(")")[0])
    ends = [m.start() for m in marks[1:]] + [len(text)]
    found = [Element(m[1], text[m.end() : end].strip()) for m, end in zip(marks, ends, strict=True)]
    for element in found:
        _check(element)
    return _all_together(found)


_KEYS = frozenset({"00", "01", "253", "401", "402", "414", "417", "8003", "8004", "8006", "8010", "8017", "8018"})
_QUALIFIERS: Mapping[str, tuple[str, ...]] = {
    "01": ("22", "10", "21", "235"),
    "414": ("254",),
    "8006": ("22", "10", "21"),
    "8010": ("8011",),
}


def _link(address: str) -> tuple[Element, ...]:
    """The element strings of a GS1 Digital Link; none for an address that is no such link (an address is nothing wrong)."""
    parts = urlsplit(address)
    steps = [unquote(step) for step in parts.path.split("/") if step]
    start = next((i for i, step in enumerate(steps[:-1]) if step in _KEYS and (len(steps) - i) % 2 == 0), None)
    if start is None:
        return ()
    pairs = list(zip(steps[start::2], steps[start + 1 :: 2], strict=True))
    if any(ai not in IDENTIFIERS for ai, _ in pairs):
        return ()
    pairs += [(ai, data) for ai, data in parse_qsl(parts.query) if ai in IDENTIFIERS]  # anything else in the query is the link's own affair
    found = []
    for ai, data in pairs:
        element = Element(ai, gtin14(data) if ai == "01" and len(data) < 14 else data)
        _check(element)
        found.append(element)
    return _all_together(found)


def _all_together(found: list[Element]) -> tuple[Element, ...]:
    """Rules between elements: the same identifier twice has to say the same."""
    kept: dict[str, str] = {}
    for element in found:
        if kept.setdefault(element.ai, element.data) != element.data:
            raise NotALabel("scan.twice", ai=element.ai, first=kept[element.ai], second=element.data)
    return tuple(Element(ai, data) for ai, data in kept.items())


def _check(element: Element) -> None:
    row = IDENTIFIERS[element.ai]
    data = element.data
    if not row.least <= len(data) <= row.most:
        expected = str(row.most) if row.least == row.most else f"{row.least} to {row.most}"
        raise NotALabel("scan.length", ai=row.ai, title=row.title, data=data, length=len(data), expected=expected)
    if (row.digits and not re.fullmatch("[0-9]*", data, re.ASCII)) or not _CHARACTERS.fullmatch(data):
        raise NotALabel("scan.data", ai=row.ai, title=row.title, data=data)
    if row.check:
        _check_checked(row.ai, data[: row.check], row.check)
    if row.ai in _DATES or row.ai == "7003":
        _check_date(row, data)


def _check_checked(ai: str, digits: str, length: int) -> None:
    if not re.fullmatch(f"[0-9]{{{length}}}", digits, re.ASCII):
        raise NotALabel("scan.data", ai=ai, title=IDENTIFIERS[ai].title, data=digits)
    expected = check_digit(digits[:-1])
    if digits[-1] != expected:
        raise NotALabel("scan.check_digit", ai=ai, title=IDENTIFIERS[ai].title, data=digits, digit=digits[-1], computed=expected)


def _check_date(row: Identifier, data: str) -> None:
    """YYMMDD; a day 00 means the end of the month. The century does not matter here: 29 February is taken in any year."""
    month, day = int(data[2:4]), int(data[4:6])
    longest = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    if not 1 <= month <= 12 or day > longest[month - 1]:
        raise NotALabel("scan.date", ai=row.ai, title=row.title, data=data)
