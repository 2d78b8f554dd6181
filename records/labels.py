"""Working papers of a released setup sheet: a traveller for each termination, and tags for the bags of finished leads.

They carry what a person at the press or the bench has to read without a screen, and a symbol that says which termination it is. They
are no records: nothing is sealed, numbered or put in the ledger, and the released sheet is what counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from django.conf import settings
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from records.data_matrix import data_matrix_svg
from records.documents_html import asset_root
from records.pdf import draw_paper
from records.qr import qr_svg
from shop.acts.concessions import concession_numbers
from shop.figures import show_force, show_length
from shop.jobs import SetupSheet, Termination
from shop.planning import TerminationCheck
from shop.quantity import System

TRAVELLER_CODE_MM, TAG_CODE_MM = 27, 20
TAGS_ACROSS, TAGS_DOWN = 3, 8
MOST_IN_A_FILE = 50
"""Travellers in one file: a sheet of 600 comes as several, so that none keeps anybody waiting."""
MOST_TAGS = 480


class Symbol(StrEnum):
    QR = "qr"
    DATA_MATRIX = "data-matrix"


def symbol_svg(symbol: Symbol, text: str, *, size_mm: float) -> str:
    return qr_svg(text, size_mm=size_mm) if symbol is Symbol.QR else data_matrix_svg(text, size_mm=size_mm)


@dataclass(frozen=True, slots=True)
class Traveller:
    """What goes with the pieces of one termination. code: the text in the symbol and under it, the termination's full name."""

    code: str
    code_svg: str
    lead: str
    end: str
    circuit: str
    wires: list[str]
    length: str
    terminal: str
    tool: str
    setting: str
    press: str
    height: str
    height_limits: str
    strip: str
    pull: str
    specification: str
    quantity: int
    concessions: list[str]


@dataclass(frozen=True, slots=True)
class BagTag:
    """What is tied to one bag of finished leads. bag: "2 of 5", or "" where the lead has one bag only."""

    code: str
    code_svg: str
    lead: str
    wires: str
    length: str
    ends: list[str]
    quantity: int
    bag: str


def travellers(checks: Iterable[TerminationCheck], system: System, symbol: Symbol) -> list[Traveller]:
    """One for each termination, in the order of the sheet. checks: of today, so that a live concession is named."""
    return [_traveller(check, system, symbol) for check in checks]


def _traveller(check: TerminationCheck, system: System, symbol: Symbol) -> Traveller:
    t = check.termination
    code = str(t)
    return Traveller(
        code=code,
        code_svg=symbol_svg(symbol, code, size_mm=TRAVELLER_CODE_MM),
        lead=t.lead,
        end=t.end,
        circuit=t.circuit,
        wires=[", ".join(part for part in (wire.part_number, wire.size, wire.colour) if part) for wire in t.ordered_wires()],
        length=_length(t.wire_length_mm, system),
        terminal=t.terminal.part_number,
        tool=t.tool.asset_number if t.tool else "",
        setting=t.setting,
        press=t.press.asset_number if t.press else "",
        height=_length(t.crimp_height_nominal_mm, system),
        height_limits=_span(t.crimp_height_min_mm, t.crimp_height_max_mm, system),
        strip=_span(t.strip_length_min_mm, t.strip_length_max_mm, system),
        pull=show_force(t.pull_force_min_n, system) if t.pull_force_min_n is not None else "",
        specification=_("{number} rev {revision}").format(number=t.specification.number, revision=t.specification.revision)
        if t.specification
        else "",
        quantity=t.quantity,
        concessions=concession_numbers(check.findings),
    )


def _length(value: Decimal | None, system: System) -> str:
    return show_length(value, system) if value is not None else ""


def _span(low: Decimal | None, high: Decimal | None, system: System) -> str:
    if low is None or high is None:
        return _length(low if high is None else high, system)
    return _("{low} to {high}").format(low=show_length(low, system).partition(" ")[0], high=show_length(high, system))


def bag_tags(sheet: SetupSheet, terminations: Sequence[Termination], system: System, symbol: Symbol, *, per_bag: int = 0) -> list[BagTag]:
    """One for each bag of each lead. per_bag: leads that go into a bag; 0 puts all of a lead into one. The last bag holds the rest."""
    leads: dict[str, list[Termination]] = {}
    for termination in terminations:
        leads.setdefault(termination.lead, []).append(termination)
    tags = []
    for lead, ends in leads.items():
        pieces = max(t.quantity for t in ends)
        size = per_bag or pieces
        bags = -(-pieces // size)
        for bag in range(1, bags + 1):
            code = f"{sheet} {lead}" + (f" bag {bag}" if bags > 1 else "")
            tags.append(
                BagTag(
                    code=code,
                    code_svg=symbol_svg(symbol, code, size_mm=TAG_CODE_MM),
                    lead=lead,
                    wires=" + ".join(dict.fromkeys(wire.part_number for t in ends for wire in t.ordered_wires())),
                    length=next((_length(t.wire_length_mm, system) for t in ends if t.wire_length_mm is not None), ""),
                    ends=[f"{t.end} {t.terminal.part_number}" for t in ends],
                    quantity=min(size, pieces - (bag - 1) * size),
                    bag=_("{bag} of {bags}").format(bag=bag, bags=bags) if bags > 1 else "",
                )
            )
    return tags


def bags_needed(terminations: Iterable[Termination], per_bag: int) -> int:
    """How many tags `bag_tags` would make."""
    pieces: dict[str, int] = {}
    for t in terminations:
        pieces[t.lead] = max(pieces.get(t.lead, 0), t.quantity)
    return sum(-(-count // per_bag) if per_bag else 1 for count in pieces.values())


def travellers_pdf(sheet: SetupSheet, made: Sequence[Traveller]) -> bytes:
    """A page of a quarter sheet for each traveller. Raises PangoMissing."""
    return _drawn("documents/labels_travellers.html", sheet, {"travellers": made, "paper": _QUARTER[settings.PAPER]})


def bag_tags_pdf(sheet: SetupSheet, made: Sequence[BagTag]) -> bytes:
    """Tags on sheets of the shop's paper, three across and eight down, with lines to cut along. Raises PangoMissing."""
    on_a_page = TAGS_ACROSS * TAGS_DOWN
    pages = [made[i : i + on_a_page] for i in range(0, len(made), on_a_page)]
    return _drawn("documents/labels_bags.html", sheet, {"pages": pages, "paper": settings.PAPER, "size": _TAG_MM[settings.PAPER]})


_QUARTER = {"A4": "105mm 148mm", "Letter": "107.9mm 139.7mm"}
_TAG_MM = {"A4": ("63.3", "34.6"), "Letter": ("65.3", "32.4")}
"""Width and height of a tag: the paper less a margin of 10 mm on every side, over three and eight."""


def _drawn(template: str, sheet: SetupSheet, context: dict[str, object]) -> bytes:
    shared = {"sheet": sheet, "shop": settings.SHOP_NAME, "language": settings.LANGUAGE_CODE}
    return draw_paper(render_to_string(template, shared | context), asset_root=asset_root())
