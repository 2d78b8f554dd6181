"""Who is qualified for what, and what runs out: people by rows, processes and kinds of tool by columns."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from shop.clock import now, shop_day
from shop.pages.acting import person_of
from shop.pages.catalogue import Crumb
from shop.pages.csv_answer import csv_answer
from shop.people import Person, Process, Role, ToolKind
from shop.permissions import Deed, may
from shop.qualification_matrix import COLUMNS, WINDOWS, Cell, Column, cell_of, people_with_qualifications

SHOWN = ("30", "60", "90", "ended", "none")


@dataclass(frozen=True, slots=True)
class Asked:
    """What the address asks for. shown: which cells make a row worth showing; empty for all people."""

    shown: str
    role: str
    process: str
    words: str

    @property
    def columns(self) -> list[Column]:
        return [column for column in COLUMNS if self.process in ("", column.process)]

    def wants(self, cell: Cell) -> bool:
        if self.shown == "ended":
            return cell.state in ("expired", "withdrawn")
        if self.shown == "none":
            return not cell.is_current
        return not self.shown or (cell.state == "running out" and cell.window <= int(self.shown))


def _asked(query: QueryDict) -> Asked:
    shown, role, process = query.get("show", ""), query.get("role", ""), query.get("process", "")
    return Asked(
        shown if shown in SHOWN else "",
        role if role in Role.values else "",
        process if process in Process.values else "",
        query.get("q", "").strip(),
    )


@dataclass(frozen=True, slots=True)
class MatrixCell:
    """outcome chooses the shape; word and day are read; url leads to the qualification, or to where one is granted."""

    outcome: str
    word: str
    day: str
    url: str


@dataclass(frozen=True, slots=True)
class MatrixRow:
    name: str
    url: str
    roles: str
    cells: list[MatrixCell]


@dataclass(frozen=True, slots=True)
class MatrixHead:
    process: str
    tool_kind: str


@dataclass(frozen=True, slots=True)
class MatrixPage:
    crumbs: list[Crumb]
    heads: list[MatrixHead]
    rows: list[MatrixRow]
    asked: Asked
    shows: list[tuple[str, str]]
    roles: list[tuple[str, str]]
    processes: list[tuple[str, str]]
    csv_url: str
    is_filtered: bool
    day: str


_OUTCOMES = {"current": "conforms", "running out": "undecided", "later": "waiting", "expired": "does not conform"}
_OUTCOMES |= {"withdrawn": "does not conform", "none": ""}


def _word(cell: Cell) -> str:
    if cell.state == "running out":
        return _("within {n} days").format(n=cell.window)
    words = {"current": _("current"), "later": _("from"), "expired": _("expired"), "withdrawn": _("withdrawn"), "none": _("none")}
    return words[cell.state]


def _heads(columns: list[Column]) -> list[MatrixHead]:
    return [MatrixHead(str(Process(c.process).label), str(ToolKind(c.tool_kind).label) if c.tool_kind else "") for c in columns]


def _rows(asked: Asked, viewer: Person) -> list[MatrixRow]:
    on, may_grant = shop_day(now()), may(viewer, Deed.CHANGE_PEOPLE)
    rows = []
    for person in people_with_qualifications(asked.role, asked.words):
        held = list(person.qualifications.all())
        cells = [(column, cell_of(held, column, on)) for column in asked.columns]
        if not any(asked.wants(cell) for _column, cell in cells):
            continue
        shown = [_cell(person, column, cell, may_grant) for column, cell in cells]
        url = reverse("shop:detail", args=["people", person.pk])
        rows.append(MatrixRow(person.name, url, ", ".join(sorted(person.roles)), shown))
    return rows


def _cell(person: Person, column: Column, cell: Cell, may_grant: bool) -> MatrixCell:
    url = ""
    if cell.qualification is not None:
        url = reverse("shop:detail", args=["qualifications", cell.qualification])
    elif may_grant:
        query = QueryDict(mutable=True)
        query.update({"person": person.username, "process": column.process, "tool_kind": column.tool_kind})
        url = f"{reverse('shop:new', args=['qualifications'])}?{query.urlencode()}"
    return MatrixCell(_OUTCOMES[cell.state], _word(cell), cell.day.isoformat() if cell.day else "", url)


@require_GET
def matrix(request: HttpRequest) -> HttpResponse:
    asked, query = _asked(request.GET), request.GET.urlencode()
    shows = [(str(days), _("with something that runs out within {n} days").format(n=days)) for days in WINDOWS]
    page = MatrixPage(
        crumbs=[Crumb(_("Shop"), reverse("shop:catalogue")), Crumb(_("People"), reverse("shop:list", args=["people"]))],
        heads=_heads(asked.columns),
        rows=_rows(asked, person_of(request)),
        asked=asked,
        shows=[*shows, ("ended", _("with something expired or withdrawn")), ("none", _("without something current"))],
        roles=[(str(value), str(label)) for value, label in Role.choices],
        processes=[(str(value), str(label)) for value, label in Process.choices],
        csv_url=reverse("shop:matrix-csv") + (f"?{query}" if query else ""),
        is_filtered=bool(asked.shown or asked.role or asked.process or asked.words),
        day=shop_day(now()).isoformat(),
    )
    return render(request, "catalogue/matrix.html", {"page": page, "place": "shop"})


@require_GET
def matrix_csv(request: HttpRequest) -> HttpResponse:
    """What the page shows, as a file."""
    asked = _asked(request.GET)
    heads = [" ".join(part for part in (head.process, head.tool_kind) if part) for head in _heads(asked.columns)]
    rows = [(row.name, row.roles, *(f"{cell.word} {cell.day}".strip() for cell in row.cells)) for row in _rows(asked, person_of(request))]
    return csv_answer("qualification-matrix.csv", ["person", "roles", *heads], rows)
