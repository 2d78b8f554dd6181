"""The picture of a trace: boxes with words in layers from left to right, lines with their quantities. Pure; an SVG as text.

Nothing is told by colour: the kind stands in each box, the thing that was asked about has a thick frame.
"""

from __future__ import annotations

from inspection.drawing.primitives import clean, head, shortened
from records.trace_graph import Edge, Graph, Key, Node

MOST_IN_A_LAYER = 12
WIDTH, GAP, STEP = 168, 84, 10
LINE = 14
"""Room for one line's end at a box, so that quantities do not lie on each other."""


def drawing(graph: Graph, root: Key) -> tuple[str, int]:
    """The picture and how many nodes it leaves out because a layer has too many. Always shows the root."""
    layers = graph.layers()
    shown: list[list[Node]] = []
    left_out = 0
    for layer in layers:
        kept = layer if len(layer) <= MOST_IN_A_LAYER else _with_root(layer, root)
        left_out += len(layer) - len(kept)
        shown.append(kept)
    column = {node.key: index for index, layer in enumerate(shown) for node in layer}
    edges = [edge for edge in _merged(graph) if edge.source in column and edge.target in column]
    shown = _untangled(shown, edges)
    boxes, height = _placed(shown, edges)
    width = len(shown) * (WIDTH + GAP) - GAP + 20
    parts = head("trace-picture", "Trace", _described(shown, left_out), width, height)
    parts += _lines(edges, boxes)
    for layer in shown:
        parts += [line for node in layer for line in _box(node, boxes[node.key], is_root=node.key == root)]
    return "".join([*parts, "</svg>"]), left_out


def _with_root(layer: list[Node], root: Key) -> list[Node]:
    kept = layer[:MOST_IN_A_LAYER]
    asked = next((node for node in layer if node.key == root), None)
    return kept if asked is None or asked in kept else [asked, *kept[:-1]]


def _merged(graph: Graph) -> list[Edge]:
    """One line between two nodes: quantities are added where every edge between them has one."""
    between: dict[tuple[Key, Key], list[Edge]] = {}
    for edge in graph.edges.values():
        between.setdefault((edge.source, edge.target), []).append(edge)
    merged = []
    for (source, target), edges in between.items():
        counted = [edge.quantity for edge in edges if edge.quantity is not None]
        merged.append(Edge(source, target, sum(counted) if counted else None, edges[0].unit))
    return merged


def _untangled(layers: list[list[Node]], edges: list[Edge]) -> list[list[Node]]:
    """Each layer ordered by the middle of what its boxes are joined to on the left: fewer lines cross."""
    order = {node.key: index for layer in layers for index, node in enumerate(layer)}
    joined: dict[Key, list[Key]] = {}
    for edge in edges:
        joined.setdefault(edge.target, []).append(edge.source)
    ordered = layers[:1]
    for layer in layers[1:]:
        places = {n.key: _middle([order[key] for key in joined.get(n.key, [])], order[n.key]) for n in layer}
        layer = sorted(layer, key=lambda n: (places[n.key], n.name))  # the same layer, in its new order
        order |= {node.key: index for index, node in enumerate(layer)}
        ordered.append(layer)
    return ordered


def _middle(places: list[int], otherwise: int) -> float:
    return sum(places) / len(places) if places else float(otherwise)


Box = tuple[float, float, float]
"""Left edge, top edge and height of a box."""


def _placed(layers: list[list[Node]], edges: list[Edge]) -> tuple[dict[Key, Box], int]:
    ends: dict[Key, int] = {}
    starts: dict[Key, int] = {}
    for edge in edges:
        ends[edge.target] = ends.get(edge.target, 0) + 1
        starts[edge.source] = starts.get(edge.source, 0) + 1
    tall = {n.key: max(38, LINE * max(ends.get(n.key, 0), starts.get(n.key, 0)) + 8) for layer in layers for n in layer}
    heights = [sum(tall[n.key] + STEP for n in layer) - STEP for layer in layers]
    whole = max(heights, default=38)
    boxes: dict[Key, Box] = {}
    for index, layer in enumerate(layers):
        y = 10 + (whole - heights[index]) / 2
        for node in layer:
            boxes[node.key] = (10 + index * (WIDTH + GAP), y, tall[node.key])
            y += tall[node.key] + STEP
    return boxes, int(whole) + 20


def _ports(edges: list[Edge], boxes: dict[Key, Box], *, at_target: bool) -> dict[int, float]:
    """Where on the side of its box each line begins or ends, spread so that they do not meet."""
    by_box: dict[Key, list[int]] = {}
    for index, edge in enumerate(edges):
        by_box.setdefault(edge.target if at_target else edge.source, []).append(index)
    places = {}
    for key, indexes in by_box.items():
        _x, top, tall = boxes[key]
        other = sorted(indexes, key=lambda i: boxes[edges[i].source if at_target else edges[i].target][1])
        for place, index in enumerate(other, start=1):
            places[index] = top + tall * place / (len(other) + 1)
    return places


def _lines(edges: list[Edge], boxes: dict[Key, Box]) -> list[str]:
    starts, ends = _ports(edges, boxes, at_target=False), _ports(edges, boxes, at_target=True)
    parts = ['<g fill="none" stroke="currentColor" stroke-opacity="0.45">']
    for index, edge in enumerate(edges):
        x1, x2 = boxes[edge.source][0] + WIDTH, boxes[edge.target][0]
        y1, y2 = starts[index], ends[index]
        bend = min((x2 - x1) / 2, GAP)
        parts.append(f'<path d="M{x1:g} {y1:.1f}C{x1 + bend:g} {y1:.1f} {x2 - bend:g} {y2:.1f} {x2:g} {y2:.1f}"/>')
    parts.append("</g>")
    for index, edge in enumerate(edges):
        if edge.quantity is not None:
            x, y = boxes[edge.target][0] - 4, ends[index]
            parts.append(f'<text x="{x:g}" y="{y - 2:.1f}" text-anchor="end" font-size="10">{edge.quantity}</text>')
    return parts


def _box(node: Node, box: Box, *, is_root: bool) -> list[str]:
    x, y, tall = box
    stroke = 3 if is_root else 1
    middle = y + tall / 2
    return [
        f"<g><title>{clean(f'{node.kind} {node.name}. {node.note}')}</title>",
        f'<rect class="trace-box" x="{x:g}" y="{y:.1f}" width="{WIDTH}" height="{tall:g}" fill="none" stroke="currentColor" '
        f'stroke-width="{stroke}"/>',
        f'<text x="{x + 8:g}" y="{middle - 4:.1f}" font-size="10">{clean(node.kind)}</text>',
        f'<text x="{x + 8:g}" y="{middle + 11:.1f}" font-size="12" font-weight="600">'
        f"{clean(shortened(node.name, WIDTH - 16, 12))}</text></g>",
    ]


def _described(layers: list[list[Node]], left_out: int) -> str:
    counts: dict[str, int] = {}
    for layer in layers:
        for node in layer:
            counts[node.kind] = counts.get(node.kind, 0) + 1
    text = ", ".join(f"{n} {kind}" for kind, n in counts.items())
    return f"From left to right: {text}." + (f" {left_out} more are left out." if left_out else "")
