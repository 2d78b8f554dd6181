"""A customer's parts list: reading the file, which column means what, and the lead ends that follow. Pure: no database, no Django.

A line of the list is a lead: a wire with a left and a right end, each with a terminal or without. Left is planned as end A, right as end
B. Nothing is guessed silently: a mapping is a proposal until the planner has confirmed it, a length has its unit in the cell, in the
column's name or by the planner's choice, and a cell that cannot be read is an error with its line and column.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal

from shop.finding import Finding, misfit
from shop.quantity import NotAQuantity, parse_length_mm, parse_number
from shop.spreadsheet import XLSX_MAGIC, NotAWorkbook, read_workbook

COLUMNS = (
    "lead",
    "wire",
    "left_terminal",
    "right_terminal",
    "length",
    "quantity",
    "circuit",
    "from",
    "to",
    "with",
)
"""What a parts list can say about a lead, in the order of the pages. "with" names the lead end in whose barrel this one goes too."""

NEEDED = ("lead", "wire")
"""A list without these, or without a terminal column, says nothing that could be planned."""

TERMINAL_OF = {"A": "left_terminal", "B": "right_terminal"}
TOOL_OF = {"A": "tool_a", "B": "tool_b"}
"""Where a planner's own choice of tool is kept beside the corrections."""

SYNONYMS: dict[str, tuple[str, ...]] = {
    "lead": ("lead", "lead no", "lead number", "lead id", "wire no", "wire number", "wire id", "cut no", "item", "pos", "position"),
    "circuit": ("circuit", "circuit no", "net", "signal", "function", "potential"),
    "from": ("from", "from point", "from pin", "from connector", "start", "source", "origin"),
    "to": ("to", "to point", "to pin", "to connector", "destination", "target", "finish"),
    "wire": ("wire", "wire part", "wire part no", "wire part number", "wire type", "wire pn", "cable", "conductor", "material"),
    "length": ("length", "len", "cut length", "wire length", "lead length", "cut"),
    "left_terminal": (
        "left terminal", "terminal left", "terminal a", "a terminal", "left", "end a", "terminal 1", "from terminal", "terminal from",
        "contact left", "contact a",
    ),
    "right_terminal": (
        "right terminal", "terminal right", "terminal b", "b terminal", "right", "end b", "terminal 2", "to terminal", "terminal to",
        "contact right", "contact b",
    ),
    "quantity": ("quantity", "qty", "pieces", "pcs", "count", "number of", "per harness", "quantity per harness"),
    "with": ("with", "together with", "double with", "same barrel", "shared with", "doubled with"),
}  # fmt: skip
"""Our own list of what people write at the head of a column, in lower case, words apart by one space."""

UNITS = ("mm", "cm", "m", "in", "ft")
LENGTH_PLACES = Decimal("0.0001")
"""Named rule: a length that came in another unit is rounded half up to 0.0001 mm, the places its column keeps."""

NONE = frozenset({"", "-", "–", "—", "none", "n/a", "open", "bare"})
"""Written where an end has no terminal."""

MOST_ROWS, MOST_COLUMNS, LONGEST_CELL = 5000, 60, 200
LONGEST = {"lead": 60, "circuit": 60}
"""Characters that a sheet keeps; of other cells those of the file's own limit."""
LONGEST_END = 19  # ten ends in one barrel; no terminal takes so many
"""A workbook is a compressed archive: one that unpacks to more than this is refused before it is read."""

HEAD_LINES = 20
"""The line of column names is looked for in so many first lines: titles and dates often stand above it."""


class NotAPartsList(ValueError):  # noqa: N818  # reads as what happened
    """A file that cannot be read as a list. reason: what is wrong, without a full stop."""

    def __init__(self, reason: str) -> None:
        self.reason = reason
        super().__init__(reason)


# --- Reading the file -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the file. line: where it begins in the file, counted from 1. cells: as text, as many as there are columns."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    header: tuple[str, ...]
    rows: tuple[Row, ...]


def read_table(data: bytes) -> Table:
    """The table in a CSV file (UTF-8; comma, semicolon or tab) or in the first filled sheet of an XLSX workbook. Raises NotAPartsList.

    What the file is, its content says, not its name. The column names stand in that one of the first lines which has most names that we
    know; lines above it are left out, and so are empty lines. Cells are kept as text: 450.0 from a workbook reads 450.
    """
    lines = _workbook_lines(data) if data.startswith(XLSX_MAGIC) else _csv_lines(data)
    filled = [(line, cells) for line, cells in lines if any(cells)]
    if not filled:
        raise NotAPartsList("it is empty")
    head = max(range(min(HEAD_LINES, len(filled))), key=lambda i: (len(guess_mapping(filled[i][1])), -i))
    width = max(len(cells) for _, cells in filled[head:])
    if width > MOST_COLUMNS:
        raise NotAPartsList(f"it has more than {MOST_COLUMNS} columns")
    if len(filled) - head - 1 > MOST_ROWS:
        raise NotAPartsList(f"it has more than {MOST_ROWS} rows")
    if len(filled) == head + 1:
        raise NotAPartsList("it has column names, but no rows below them")

    def padded(cells: Sequence[str]) -> tuple[str, ...]:
        return (*cells, *[""] * (width - len(cells)))

    header = tuple(name or f"column {i}" for i, name in enumerate(padded(filled[head][1]), start=1))
    return Table(header, tuple(Row(line, padded(cells)) for line, cells in filled[head + 1 :]))


def _tidy(text: str) -> str:
    return re.sub(r"\s+", " ", text.replace("\x00", "")).strip()[: LONGEST_CELL + 1]


def _csv_lines(data: bytes) -> list[tuple[int, list[str]]]:
    try:
        text = data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError as error:
        raise NotAPartsList(f"byte {error.start + 1} is not UTF-8; save it as CSV (UTF-8) or as XLSX") from error
    if "\0" in text:
        raise NotAPartsList("it is neither CSV nor XLSX")
    first = "\n".join(text.splitlines()[:HEAD_LINES])
    delimiter = max(",;\t", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    lines, begins = [], 1
    try:
        for cells in reader:
            lines.append((begins, [_tidy(cell) for cell in cells]))
            begins = reader.line_num + 1
    except csv.Error as error:
        raise NotAPartsList(f"line {begins} is not CSV: {error}") from error
    return lines


def _workbook_lines(data: bytes) -> list[tuple[int, list[str]]]:
    try:
        lines = read_workbook(data, most_rows=MOST_ROWS + HEAD_LINES, most_columns=MOST_COLUMNS)
    except NotAWorkbook as error:
        raise NotAPartsList(error.reason) from error
    return [(line, [_tidy(cell) for cell in cells]) for line, cells in lines]


# --- Which column means what --------------------------------------------------------------------------------------------------------


def _words(name: str) -> str:
    """A column name as the synonyms are written: without a unit in brackets, signs as spaces, "Qty." as "qty"."""
    bare = re.sub(r"[(\[].*?[)\]]", " ", name.lower())
    return " ".join(re.findall(r"[^\W_]+", bare))


def guess_mapping(header: Sequence[str]) -> dict[str, int]:
    """Our column -> position in the file, for the names that we know; each column of the file is used once.

    A name that is a synonym wins over one that only begins or ends with it ("wire length" is a length, no wire).
    """
    names = [_words(name) for name in header]
    found: dict[str, int] = {}
    taken: set[int] = set()
    longest_first = sorted(((word, column) for column in COLUMNS for word in SYNONYMS[column]), key=lambda pair: -len(pair[0]))
    for whole in (True, False):
        for word, column in longest_first:
            if column in found:
                continue
            position = next((i for i, name in enumerate(names) if i not in taken and _is(name, word, whole)), None)
            if position is not None:
                found[column] = position
                taken.add(position)
    return found


def _is(name: str, word: str, whole: bool) -> bool:
    return name == word if whole else name.startswith(f"{word} ") or name.endswith(f" {word}")


def unit_in(name: str) -> str:
    """The unit of length that a column name states, as in "Length (mm)" or "cut length in"; "" where it states none."""
    inside = re.search(r"[(\[]\s*([a-zA-Z\"]+)\s*[)\]]", name)
    word = (inside.group(1) if inside else name.split()[-1] if len(name.split()) > 1 else "").lower()
    word = {"inch": "in", "inches": "in", '"': "in", "feet": "ft", "metre": "m", "meter": "m", "millimetre": "mm"}.get(word, word)
    return word if word in UNITS else ""


def mapping_findings(mapping: Mapping[str, int], header: Sequence[str]) -> list[Finding]:
    """What keeps a mapping from being used."""
    found = [misfit("parts.column.needed", name, column=name.replace("_", " ")) for name in NEEDED if name not in mapping]
    if not mapping.keys() & set(TERMINAL_OF.values()):
        found.append(misfit("parts.column.needed", "left_terminal", column="left terminal, right terminal"))
    for name, position in mapping.items():
        if not 0 <= position < len(header):
            found.append(misfit("parts.column.missing", name, column=name.replace("_", " ")))
        elif any(other != name and mapping[other] == position for other in mapping if COLUMNS.index(other) < COLUMNS.index(name)):
            found.append(misfit("parts.column.twice", name, column=header[position]))
    return found


# --- Leads and their ends ---------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Lead:
    """One line of the list, read. texts: our column -> what stands there, corrected. A value that could not be read is None."""

    row: int  # position among the rows, counted from 0
    line: int  # in the file, counted from 1
    texts: Mapping[str, str]
    length_mm: Decimal | None
    quantity: int | None  # per harness

    @property
    def number(self) -> str:
        return self.texts["lead"]


@dataclass(frozen=True, slots=True)
class LeadEnd:
    """One termination to be planned. rows: of the leads in its barrel; the first one's end holds the terminal."""

    row: int
    end: str  # "A" or "B"
    lead: str  # "4", or "4+7" where two leads share the barrel
    end_name: str  # "A", or "A+B"
    circuit: str
    wires: tuple[str, ...]
    terminal: str
    quantity: int
    length_mm: Decimal | None
    tool: str  # as the planner chose, "" where nobody chose


@dataclass(frozen=True, slots=True)
class Reading:
    """A whole list, read. findings: row -> what is wrong there, each at its column (`Finding.field`)."""

    leads: tuple[Lead, ...]
    ends: tuple[LeadEnd, ...]
    findings: Mapping[int, tuple[Finding, ...]] = field(default_factory=dict)


def key_of(row: int, column: str) -> str:
    """The key of a correction: "12/wire"."""
    return f"{row}/{column}"


def read_leads(rows: Sequence[Row], mapping: Mapping[str, int], corrections: Mapping[str, str], length_unit: str = "") -> Reading:
    """The leads of a list and the terminations that follow, in the order of the list.

    mapping: our column -> position in a row. corrections: `key_of(row, column)` -> text that stands in for the cell's.
    length_unit: of lengths without a unit of their own, one of `UNITS`; "" says that every cell states its own.
    """
    found: dict[int, list[Finding]] = {}
    leads = [_lead(i, row, mapping, corrections, length_unit, found.setdefault(i, [])) for i, row in enumerate(rows)]
    first_at: dict[str, int] = {}
    for lead in leads:
        earlier = first_at.setdefault(lead.number, lead.row)
        if lead.number and earlier != lead.row:
            found[lead.row].append(misfit("parts.lead.twice", "lead", lead=lead.number, line=leads[earlier].line))
    joined = _joined(leads, first_at, found)
    ends = [
        _end(lead, end, [leads[row] for row, _own in joined.get((lead.row, end), ())], joined, corrections, found)
        for lead in leads
        for end, column in TERMINAL_OF.items()
        if lead.texts[column].lower() not in NONE and not _joins(joined, lead.row, end)
    ]
    return Reading(tuple(leads), tuple(ends), {row: tuple(findings) for row, findings in found.items() if findings})


def _lead(row: int, source: Row, mapping: Mapping[str, int], corrections: Mapping[str, str], unit: str, found: list[Finding]) -> Lead:
    texts = {}
    for name in COLUMNS:
        stands = source.cells[mapping[name]] if name in mapping else ""
        texts[name] = corrections.get(key_of(row, name), stands).strip()
    for name in NEEDED:
        if not texts[name]:
            found.append(misfit("parts.cell.empty", name, column=name.replace("_", " ")))
    found += [
        misfit("parts.cell.long", name, limit=LONGEST.get(name, LONGEST_CELL))
        for name, text in texts.items()
        if len(text) > LONGEST.get(name, LONGEST_CELL)
    ]
    return Lead(row, source.line, texts, _length(texts["length"], unit, found), _quantity(texts["quantity"], found))


def _length(text: str, unit: str, found: list[Finding]) -> Decimal | None:
    if text.lower() in NONE:
        return None
    try:
        if not unit and not re.search(r"[^\W\d_]|\"|″", text):
            parse_number(text)  # first of all it has to be a number
            found.append(misfit("parts.length.unit", "length", text=text))
            return None
        typed = parse_length_mm(text, unit or "mm")
    except NotAQuantity as error:
        found.append(misfit("parts.length", "length", text=text, reason=error.reason))
        return None
    if typed.value <= 0 or typed.value >= 1_000_000:
        found.append(misfit("parts.length", "length", text=text, reason="A lead is longer than nothing and shorter than a kilometre."))
        return None
    return typed.value.quantize(LENGTH_PLACES, ROUND_HALF_UP)


def _quantity(text: str, found: list[Finding]) -> int | None:
    if not text:
        return 1
    try:
        value = parse_number(text, "a whole number")
    except NotAQuantity as error:
        found.append(misfit("parts.quantity", "quantity", text=text, reason=error.reason))
        return None
    if value != int(value) or not 0 < value < 100_000:
        found.append(misfit("parts.quantity", "quantity", text=text, reason="It is not a whole number from 1 on."))
        return None
    return int(value)


Joined = dict[tuple[int, str], list[tuple[int, str]]]
"""(row, end) that holds the terminal -> the (row, end) pairs that go into its barrel too."""

_WITH = re.compile(r"(?:([AB])\s*[+:=]\s*)?(.+?)\s*/\s*([AB])", re.IGNORECASE)


def _joined(leads: Sequence[Lead], first_at: Mapping[str, int], found: Mapping[int, list[Finding]]) -> Joined:
    """Which ends share a barrel, from the cells of "with": "4/A" puts this lead's end A, "B+4/A" its end B, into lead 4's end A."""
    joined: Joined = {}
    for lead in leads:
        for part in re.split(r"[,;]", lead.texts["with"]):
            if part.strip().lower() in NONE:
                continue
            match = _WITH.fullmatch(part.strip())
            holder = first_at.get(match.group(2)) if match else None
            if match is None or holder is None or holder == lead.row:
                found[lead.row].append(misfit("parts.with", "with", text=part.strip()))
                continue
            there = match.group(3).upper()
            own = (match.group(1) or there).upper()
            joined.setdefault((holder, there), []).append((lead.row, own))
    for holder_end, members in list(joined.items()):
        held = leads[holder_end[0]].texts[TERMINAL_OF[holder_end[1]]]
        for row, own in members:
            terminal = leads[row].texts[TERMINAL_OF[own]]
            if held.lower() in NONE or _joins(joined, *holder_end) or (terminal.lower() not in NONE and terminal != held):
                found[row].append(misfit("parts.with.terminal", "with", lead=leads[holder_end[0]].number, end=holder_end[1]))
    return joined


def _joins(joined: Joined, row: int, end: str) -> bool:
    return any((row, end) in members for members in joined.values())


def _end(
    lead: Lead, end: str, others: Sequence[Lead], joined: Joined, corrections: Mapping[str, str], found: Mapping[int, list[Finding]]
) -> LeadEnd:
    for other in others:
        if other.quantity != lead.quantity and None not in (other.quantity, lead.quantity):
            found[other.row].append(
                misfit("parts.with.quantity", "quantity", lead=lead.number, count=lead.quantity or 0, own=other.quantity or 0)
            )
    members = joined.get((lead.row, end), ())
    own_ends = [end, *(own for _row, own in members)]
    name = "+".join([lead.number, *(other.number for other in others)])
    if others and len(name) > LONGEST["lead"]:
        found[lead.row].append(misfit("parts.cell.long", "lead", limit=LONGEST["lead"]))
    return LeadEnd(
        row=lead.row,
        end=end,
        lead=name,
        end_name=end if len(set(own_ends)) == 1 else "+".join(own_ends)[:LONGEST_END],
        circuit=lead.texts["circuit"],
        wires=tuple(one.texts["wire"] for one in (lead, *others)),
        terminal=lead.texts[TERMINAL_OF[end]],
        quantity=lead.quantity or 0,
        length_mm=lead.length_mm if not others else None,
        tool=corrections.get(key_of(lead.row, TOOL_OF[end]), ""),
    )


def close_to(text: str, names: Iterable[str]) -> str:
    """The one name that differs from `text` by case, spaces and signs only; "" where there is none or more than one."""

    def bare(name: str) -> str:
        return re.sub(r"[\W_]", "", name.lower())

    close = [name for name in names if bare(name) == bare(text)]
    return close[0] if len(close) == 1 else ""
