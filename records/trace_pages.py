"""What the pages of a trace show: where something went, and the trace of anything as tree, picture and rows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.core.paginator import Page
from django.http import QueryDict
from django.urls import reverse
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from inspection.models import Batch
from records.trace import BACKWARD, MOST_BATCHES, Found, Reach, Totals, batches_with, picked, reach_of, totals_of, totals_with
from records.trace_drawing import drawing
from records.trace_graph import EVIDENCE, Edge, Graph, Node
from records.trace_rows import where_rows
from records.trace_tree import tree_html
from records.trace_urls import own_url, trace_url
from records.trace_walk import ahead, behind
from shop.clock import midnight
from shop.composed import by_key
from shop.jobs import Termination
from shop.pages.paging import LongPaginator

BATCHES_A_PAGE = 100


@dataclass(frozen=True, slots=True)
class Span:
    """Days, both inside, and the moments they begin and end in the shop's zone."""

    since: date | None
    until: date | None

    @property
    def begin(self) -> datetime | None:
        return midnight(self.since) if self.since else None

    @property
    def end(self) -> datetime | None:
        return midnight(self.until + timedelta(days=1)) if self.until and self.until < date.max else None


def span_of(asked: QueryDict) -> Span:
    """The days in an address; what is no day is left open."""

    def day(text: str) -> date | None:
        try:
            return date.fromisoformat(text)
        except ValueError:
            return None

    return Span(day(asked.get("from", "")), day(asked.get("to", "")))


# --- Where it went ---------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class WherePage:
    """Where a lot, a tool, a person or a paper went. rows: one page of batches; the sums are of all of them."""

    found: Found
    kind_word: str
    catalogue_url: str
    trace_url: str
    contain_url: str
    since: date | None
    until: date | None
    page: Page[Batch]
    rows: list[Reach]
    batches: int
    pieces: int
    lots: int
    shipments: int
    customers: list[str]

    @property
    def drawn(self) -> SafeString:
        return where_rows(self.rows)


_SHOWN = by_key(Batch, along={"termination": by_key(Termination, "sheet")})


def where_page(found: Found, span: Span, *, page: str | None = None, contain_url: str = "") -> WherePage:
    """A batch counts when it was open at any moment of the span."""
    asked = picked(found, span.begin, span.end)
    sums = totals_of(asked)
    batches = batches_with(found, span.begin, span.end)
    pages = LongPaginator(batches, BATCHES_A_PAGE, first=asked.counted(**asked.given), read=lambda keys: _SHOWN(keys=keys))
    shown = pages.get_page(page)
    return WherePage(
        found=found,
        kind_word=_(found.kind),
        catalogue_url=own_url(found.kind, found.pk, found.name),
        trace_url=trace_url(found.kind, found.pk),
        contain_url=contain_url,
        since=span.since,
        until=span.until,
        page=shown,
        rows=reach_of(shown.object_list),
        batches=sums.batches,
        pieces=sums.pieces,
        lots=sums.lots,
        shipments=sums.shipments,
        customers=list(sums.customers),
    )


# --- The trace as tree and picture -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TracePage:
    """The trace of one thing, in one direction."""

    found: Found
    title: str
    sentence: str
    direction: str
    other_url: str
    own_url: str
    csv_url: str
    api_url: str
    where_url: str
    since: date | None
    until: date | None
    sums: Totals | None
    cut: bool
    most: int
    nodes: int
    picture: SafeString
    picture_cut: int
    tree: SafeString


def directions_of(kind: str) -> tuple[str, ...]:
    """What can be asked of a kind: what is behind it, what it went into."""
    if kind in EVIDENCE:
        return ("ahead",)
    return ("behind",) if kind == "customer" else ("behind", "ahead")


def graph_of(found: Found, direction: str, span: Span) -> Graph:
    return behind(found, span.begin, span.end) if direction == "behind" else ahead(found, span.begin, span.end)


def trace_page(found: Found, direction: str, span: Span, query: str) -> TracePage:
    """The page of a trace. query: the days of the span as they stand in the address, kept when the direction is changed."""
    graph = graph_of(found, direction, span)
    root = graph.nodes[found.kind, found.pk]
    tree = graph.tree(root.key, behind=direction == "behind")
    sums = totals_with(found, span.begin, span.end) if found.kind in BACKWARD or direction == "behind" else None
    kept = f"&{query}" if query else ""
    address = trace_url(found.kind, found.pk)
    others = [one for one in directions_of(found.kind) if one != direction]
    picture, left_out = drawing(graph, root.key)
    name = {"kind": _(found.kind), "name": found.name}
    return TracePage(
        found=found,
        title=_("Behind %(kind)s %(name)s") % name if direction == "behind" else _("What %(kind)s %(name)s went into") % name,
        sentence=root.note,
        direction=direction,
        other_url=f"{address}?direction={others[0]}{kept}" if others else "",
        own_url=own_url(found.kind, found.pk, found.name),
        csv_url=f"{reverse('prove:trace-rows', args=[found.kind.replace(' ', '-'), found.pk])}?direction={direction}{kept}",
        api_url=f"{reverse('api:trace-graph', args=[found.kind.replace(' ', '-'), found.pk])}?direction={direction}{kept}",
        where_url=reverse("prove:where", args=[found.kind.replace(" ", "-"), found.name]) if found.kind in BACKWARD else "",
        since=span.since,
        until=span.until,
        sums=sums,
        cut=sums is not None and sums.batches > MOST_BATCHES,
        most=MOST_BATCHES,
        nodes=len(graph.nodes) - 1,
        picture=SafeString(picture),  # our own SVG: every text in it is escaped
        picture_cut=left_out,
        tree=tree_html(tree),
    )


ROW_HEAD = ("from kind", "from", "to kind", "to", "quantity", "unit", "how", "from note", "from time", "to note", "to time")


def trace_rows(graph: Graph) -> Iterator[Sequence[str]]:
    """The edges of a trace as rows under `ROW_HEAD`."""

    def time_of(node: Node) -> str:
        return node.at.isoformat() if node.at else ""

    def row(edge: Edge) -> Sequence[str]:
        source, target = graph.nodes[edge.source], graph.nodes[edge.target]
        quantity = "" if edge.quantity is None else str(edge.quantity)
        return (
            source.kind,
            source.name,
            target.kind,
            target.name,
            quantity,
            edge.unit,
            edge.note,
            source.note,
            time_of(source),
            target.note,
            time_of(target),
        )

    return (row(edge) for edge in graph.edges.values())
