"""The fit matrix: a terminal against wires and tools, or a wire against terminals and tools; each cell opens its findings."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET

from shop.clock import now, shop_day
from shop.figures import show_area, show_length
from shop.fit_matrix import FITS, MISFIT, OPEN
from shop.forms.fit_table import FitTableForm
from shop.materials import Terminal, Wire
from shop.matrix import FitMatrix, Narrowing, fit_matrix
from shop.pages.acting import person_of
from shop.pages.catalogue import Crumb
from shop.pages.plan import crumbs_to
from shop.pages.showing import system_of
from shop.planning import plan_for
from shop.quantity import System
from shop.tools import Tool
from shop.wording import Worded, worded

ROWS, TOOLS = 100, 40
"""Cells of one page: what a screen can hold and a browser draws at once."""

FILTERS = ("of", "number", "q", "low", "high", "kind", "tools", "fits")


@dataclass(frozen=True, slots=True)
class ToolHead:
    number: str
    kind: str
    url: str
    state: str  # empty when available today


@dataclass(frozen=True, slots=True)
class Cell:
    css: str
    word: str
    url: str
    is_open: bool


@dataclass(frozen=True, slots=True)
class MatrixRow:
    """One wire or terminal: its own matrix is one link away. fits: on how many tools of the whole table."""

    number: str
    note: str
    url: str
    fits: int
    cells: list[Cell]


@dataclass(frozen=True, slots=True)
class Opened:
    """One cell with every finding and its numbers."""

    title: str
    wire: str
    terminal: str
    tool: str
    outcome: str
    word: str
    findings: list[Worded]
    close_url: str


@dataclass(frozen=True, slots=True)
class FitPage:
    crumbs: list[Crumb]
    form: FitTableForm
    offers: list[str]
    item: Terminal | Wire | None
    title: str
    note: str
    row_word: str
    rows: Page[Any] | None
    tool_page: Page[Any] | None
    heads: list[ToolHead]
    lines: list[MatrixRow]
    count: str
    csv_url: str
    opened: Opened | None


def words() -> dict[int, tuple[str, str]]:
    """Class and word of each verdict code. The word is short: hundreds stand side by side."""
    return {FITS: ("conforms", _("fits")), OPEN: ("undecided", _("needs data")), MISFIT: ("misfit", _("misfit"))}


@require_GET
def fit_table(request: HttpRequest) -> HttpResponse:
    form, narrowing = _asked(request)
    item = form.cleaned_data.get("item")
    system = system_of(person_of(request))
    kept = {name: request.GET[name] for name in FILTERS if request.GET.get(name)}
    opened = _opened(request.GET.get("cell", ""), kept) if item is not None else None
    if opened and request.headers.get("HX-Request"):
        return render(request, "plan/_fit_cell.html", {"opened": opened})
    matrix = fit_matrix(item, narrowing, shop_day(now())) if item is not None else None
    page = _page(request, form, matrix, system, kept, opened)
    status = 422 if form.errors else 200
    return render(request, "plan/fit_table.html", {"page": page, "place": "plan"}, status=status)


def _asked(request: HttpRequest) -> tuple[FitTableForm, Narrowing]:
    form = FitTableForm(request.GET)
    form.is_valid()
    stated = form.cleaned_data
    narrowing = Narrowing(
        words=stated.get("q", ""),
        low_mm2=stated.get("low"),
        high_mm2=stated.get("high"),
        tool_kind=stated.get("kind", ""),
        all_tools=stated.get("tools") == "all",
        only_fits=bool(stated.get("fits")),
    )
    return form, narrowing


def _page(
    request: HttpRequest,
    form: FitTableForm,
    matrix: FitMatrix | None,
    system: System,
    kept: dict[str, str],
    opened: Opened | None,
) -> FitPage:
    item = form.cleaned_data.get("item")
    is_terminal = form.cleaned_data.get("of") != "wire"
    rows = tool_page = None
    heads: list[ToolHead] = []
    lines: list[MatrixRow] = []
    count = ""
    if matrix is not None:
        rows = Paginator(range(len(matrix.items)), ROWS).get_page(request.GET.get("page"))
        tool_page = Paginator(range(len(matrix.tools)), TOOLS).get_page(request.GET.get("tool_page"))
        heads = [_tool_head(matrix.tools[i]) for i in tool_page]
        lines = _lines(matrix, list(rows), list(tool_page), system, kept, request.GET.get("cell", ""))
        count = _count(matrix, is_terminal)
    return FitPage(
        crumbs=crumbs_to(),
        form=form,
        offers=form.offers(),
        item=item,
        title=str(item) if item else "",
        note=_note(item, system) if item else "",
        row_word=_("Wire") if is_terminal else _("Terminal"),
        rows=rows,
        tool_page=tool_page,
        heads=heads,
        lines=lines,
        count=count,
        csv_url=f"{reverse('plan:fit-csv')}?{urlencode(kept)}" if matrix is not None and matrix.codes.size else "",
        opened=opened,
    )


def _count(matrix: FitMatrix, is_terminal: bool) -> str:
    fitting = int((matrix.codes == FITS).any(axis=1).sum()) if matrix.codes.size else 0
    total = len(matrix.items)
    things = (
        ngettext("%(count)s wire", "%(count)s wires", total)
        if is_terminal
        else ngettext("%(count)s terminal", "%(count)s terminals", total)
    )
    tools = ngettext("%(count)s tool", "%(count)s tools", len(matrix.tools)) % {"count": len(matrix.tools)}
    return _("{things}, {tools}; {fitting} with a tool that fits").format(things=things % {"count": total}, tools=tools, fitting=fitting)


def _tool_head(tool: Tool) -> ToolHead:
    state = "" if tool.state == "available" else tool.get_state_display()
    return ToolHead(tool.asset_number, tool.get_kind_display(), reverse("shop:detail", args=["tools", tool.pk]), state)


def _lines(
    matrix: FitMatrix, rows: Sequence[int], tools: Sequence[int], system: System, kept: dict[str, str], opened: str
) -> list[MatrixRow]:
    shown, fits = words(), (matrix.codes == FITS).sum(axis=1)
    base = f"?{urlencode(kept)}&cell="
    tool_keys = [matrix.tools[i].pk for i in tools]
    lines = []
    for i in rows:
        item = matrix.items[i]
        cells = []
        for code, tool in zip(matrix.codes[i, list(tools)].tolist(), tool_keys, strict=True):
            key = f"{item.pk}-{tool}"
            css, word = shown[code]
            cells.append(Cell(css, word, base + key, key == opened))
        other = "wire" if isinstance(item, Wire) else "terminal"
        lines.append(
            MatrixRow(
                item.part_number, _note(item, system), f"?{urlencode({'of': other, 'number': item.part_number})}", int(fits[i]), cells
            )
        )
    return lines


def _note(item: Terminal | Wire, system: System) -> str:
    """Size and diameter of a wire, ranges of a terminal."""
    if isinstance(item, Wire):
        return f"{show_area(item.csa_mm2, system)}, Ø {show_length(item.insulation_od_mm, system)}"
    area = f"{show_area(item.csa_min_mm2, system).partition(' ')[0]} – {show_area(item.csa_max_mm2, system)}"
    if not item.has_support or item.od_min_mm is None or item.od_max_mm is None:
        return area
    return f"{area}, Ø {show_length(item.od_min_mm, system).partition(' ')[0]} – {show_length(item.od_max_mm, system)}"


def _opened(cell: str, kept: dict[str, str]) -> Opened | None:
    """The findings behind one cell: the one-by-one rules, with the numbers they compared."""
    row, _dash, tool_key = cell.partition("-")
    if not (row.isascii() and row.isdigit() and tool_key.isascii() and tool_key.isdigit()) or len(cell) > 40:
        return None
    tool = get_object_or_404(Tool, pk=int(tool_key))
    if kept.get("of") == "wire":
        wire, terminal = get_object_or_404(Wire, part_number=kept.get("number", "")), get_object_or_404(Terminal, pk=int(row))
    else:
        wire, terminal = get_object_or_404(Wire, pk=int(row)), get_object_or_404(Terminal, part_number=kept.get("number", ""))
    findings = plan_for([wire], terminal, tool, shop_day(now())).findings
    verdicts = {finding.verdict for finding in findings}
    code = MISFIT if "misfit" in verdicts else OPEN if "undecidable" in verdicts else FITS
    css, word = words()[code]
    return Opened(
        title=_("{wire} in {terminal} on {tool}").format(wire=wire, terminal=terminal, tool=tool),
        wire=reverse("shop:detail", args=["wires", wire.pk]),
        terminal=reverse("shop:detail", args=["terminals", terminal.pk]),
        tool=reverse("shop:detail", args=["tools", tool.pk]),
        outcome={"conforms": "fits", "undecided": "undecidable", "misfit": "misfit"}[css],
        word=word,
        findings=[worded(finding) for finding in sorted(findings, key=lambda f: not f.blocks)],
        close_url=f"?{urlencode(kept)}",
    )


class _Line:
    """A file for the csv writer that hands each line on."""

    def write(self, line: str) -> str:
        return line


@require_GET
def fit_csv(request: HttpRequest) -> HttpResponse | StreamingHttpResponse:
    """The whole table as filtered, not one page of it."""
    form, narrowing = _asked(request)
    item = form.cleaned_data.get("item")
    if item is None or form.errors:
        return HttpResponse(_("Name a terminal or a wire first."), status=422, content_type="text/plain; charset=utf-8")
    matrix = fit_matrix(item, narrowing, shop_day(now()))
    answer = StreamingHttpResponse(_csv(matrix), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="fit-{item.part_number}.csv"'
    return answer


def _csv(matrix: FitMatrix) -> Iterator[str]:
    items: list[Terminal | Wire] = list(matrix.items)
    writer = csv.writer(_Line())
    yield "\ufeff" + writer.writerow(["part_number", "size", *(tool.asset_number for tool in matrix.tools)])
    labels = np.array([words()[code][1] for code in (MISFIT, OPEN, FITS)], dtype=object)
    for item, codes in zip(items, matrix.codes, strict=True):
        yield writer.writerow([_safe(item.part_number), _safe(_note(item, "metric")), *labels[codes]])


def _safe(text: str) -> str:
    """A cell that a spreadsheet would take for a formula is kept a text."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t") else text
