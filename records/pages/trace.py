"""The trace of anything: as a tree and a picture, and as rows; and where a reel, a tool, a person or a paper went."""

from __future__ import annotations

import csv
import io
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from records.models import Question
from records.trace import BACKWARD, Found, find, name_of
from records.trace_graph import KINDS
from records.trace_pages import ROW_HEAD, Span, directions_of, graph_of, span_of, trace_page, trace_rows, where_page
from records.trace_walk import read_things
from shop.pages.acting import person_of
from shop.permissions import Deed, may

PLACE = "prove"


def contain_url(found: Found, span: Span) -> str:
    """Where a containment case about this begins, with the question filled in; empty where none is asked about such a thing."""
    if found.kind not in Question.values:
        return ""
    days = {"from": span.since, "to": span.until}
    asked = {"question": found.kind, "subject": found.name} | {name: day.isoformat() for name, day in days.items() if day}
    return f"{reverse('prove:contain')}?{urlencode(asked)}"


@require_GET
def where(request: HttpRequest, kind: str, number: str) -> HttpResponse:
    """The batches in which a thing was used, and where they went."""
    found = backward(kind, number)
    span = span_of(request.GET)
    contain = contain_url(found, span) if may(person_of(request), Deed.CONTAIN) else ""
    page = where_page(found, span, page=request.GET.get("page"), contain_url=contain)
    return render(request, "prove/where.html", {"place": PLACE, "page": page})


def backward(kind: str, number: str) -> Found:
    wanted = kind.replace("-", " ")
    if wanted in BACKWARD:
        for found in find(number, [wanted]):
            return found
    raise Http404(f"no {wanted} {number}")


def thing_found(kind: str, pk: int) -> Found:
    """The thing an address names. Raises Http404."""
    wanted = kind.replace("-", " ")
    if wanted not in KINDS or pk > 2**63 - 1:
        raise Http404
    thing = read_things(wanted, [pk]).get(pk)
    if thing is None:
        raise Http404(f"no {wanted} {pk}")
    return Found(wanted, pk, name_of(wanted, thing))


def direction_asked(found: Found, asked: str) -> str:
    """The direction in an address, where the kind has it; else the kind's first."""
    possible = directions_of(found.kind)
    return asked if asked in possible else possible[0]


@require_GET
def trace(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    found = thing_found(kind, pk)
    span = span_of(request.GET)
    days = {name: day.isoformat() for name, day in (("from", span.since), ("to", span.until)) if day}
    page = trace_page(found, direction_asked(found, request.GET.get("direction", "")), span, urlencode(days))
    return render(request, "prove/trace.html", {"place": PLACE, "page": page})


@require_GET
def trace_file(request: HttpRequest, kind: str, pk: int) -> HttpResponse:
    """The same as rows, for a spreadsheet."""
    found = thing_found(kind, pk)
    direction = direction_asked(found, request.GET.get("direction", ""))
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(ROW_HEAD)
    for row in trace_rows(graph_of(found, direction, span_of(request.GET))):
        writer.writerow([_harmless(cell) for cell in row])
    # The mark at the beginning tells spreadsheets that this is UTF-8.
    response = HttpResponse("\ufeff" + text.getvalue(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="trace-{kind}-{pk}-{direction}.csv"'
    return response


def _harmless(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{cell}" if cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell
