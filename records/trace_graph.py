"""What came out of what, as nodes and edges: pure, no database.

An edge runs the way the goods run: from a reel to a batch, from a batch to a lot, from a lot to a shipment.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime

Key = tuple[str, int]
"""Kind and primary key of a node."""

KINDS = (
    "wire lot",
    "terminal lot",
    "tool",
    "wear part",
    "press",
    "gauge",
    "person",
    "document",
    "sheet",
    "concession",
    "batch",
    "harness lot",
    "serial",
    "shipment",
    "customer",
)
EVIDENCE = frozenset(KINDS[:10])
"""Kinds that only ever go into batches: nothing is behind them."""


@dataclass(frozen=True, slots=True)
class Node:
    """One thing of a trace. note: what else to say of it, in words; at: when it was made, sent or received."""

    kind: str
    pk: int
    name: str
    note: str = ""
    at: datetime | None = None

    @property
    def key(self) -> Key:
        return (self.kind, self.pk)


@dataclass(frozen=True, slots=True)
class Edge:
    """`quantity` of `source` went into `target` (None: it was used there, not used up). unit: of what; note: how."""

    source: Key
    target: Key
    quantity: int | None = None
    unit: str = ""
    note: str = ""

    @property
    def words(self) -> str:
        """Quantity and note as one text."""
        amount = "" if self.quantity is None else f"{self.quantity} {self.unit}".strip()
        return ", ".join(part for part in (amount, self.note) if part)


@dataclass(frozen=True, slots=True)
class Twig:
    """A node of the tree with the edge that led to it. again: its own branches stand at its first place in the tree."""

    node: Node
    edge: Edge | None
    twigs: tuple[Twig, ...] = ()
    again: bool = False

    def __iter__(self) -> Iterator[Twig]:
        yield self
        for twig in self.twigs:
            yield from twig


@dataclass(slots=True)
class Graph:
    """Nodes by key and edges without repetition."""

    nodes: dict[Key, Node] = field(default_factory=dict)
    edges: dict[tuple[Key, Key, str], Edge] = field(default_factory=dict)

    def add(self, node: Node) -> Key:
        self.nodes.setdefault(node.key, node)
        return node.key

    def join(self, source: Key, target: Key, quantity: int | None = None, unit: str = "", note: str = "") -> None:
        """Add an edge between two nodes that are there. Raises KeyError for one that is not."""
        if source not in self.nodes or target not in self.nodes:
            raise KeyError((source, target))
        self.edges.setdefault((source, target, note), Edge(source, target, quantity, unit, note))

    def tree(self, root: Key, *, behind: bool) -> Twig:
        """The graph as a tree from one node: what is behind it, or what it went into. Ends in any graph: each node branches once."""
        next_to: dict[Key, list[Edge]] = {}
        for edge in self.edges.values():
            next_to.setdefault(edge.target if behind else edge.source, []).append(edge)
        seen: set[Key] = set()

        def grow(key: Key, edge: Edge | None) -> Twig:
            if key in seen:
                return Twig(self.nodes[key], edge, again=bool(next_to.get(key)))
            seen.add(key)
            ways = sorted(next_to.get(key, []), key=lambda e: self._rank(e.source if behind else e.target))
            return Twig(self.nodes[key], edge, tuple(grow(e.source if behind else e.target, e) for e in ways))

        return grow(root, None)

    def _rank(self, key: Key) -> tuple[int, str]:
        return (KINDS.index(key[0]), self.nodes[key].name)

    def layers(self) -> list[list[Node]]:
        """The nodes from left to right: every edge leads to a later layer. Raises ValueError where it goes in a circle."""
        into: dict[Key, list[Key]] = {key: [] for key in self.nodes}
        for edge in self.edges.values():
            into[edge.target].append(edge.source)
        depth: dict[Key, int] = {}
        waiting = dict.fromkeys(self.nodes)
        while waiting:
            ready = [key for key in waiting if all(source in depth for source in into[key])]
            if not ready:
                raise ValueError("a trace goes in a circle")
            for key in ready:
                depth[key] = max((depth[source] + 1 for source in into[key]), default=0)
                del waiting[key]
        columns: dict[int, list[Node]] = {}
        for key, node in self.nodes.items():
            columns.setdefault(depth[key], []).append(node)
        return [sorted(columns[d], key=lambda n: self._rank(n.key)) for d in sorted(columns)]
