"""The tree of a trace as text of a page: nested lists that open and close with plain details and summary, by keyboard too.

Drawn here like the picture beside it: as a template that includes itself it took longer than reading what is in it.
"""

from __future__ import annotations

from html import escape

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from records.trace_graph import Twig
from records.trace_urls import own_url, trace_url
from shop.templatetags.shop import moment

OPEN_TO = 2
"""Levels that stand open at first."""


def tree_html(tree: Twig) -> SafeString:
    """The branches below a root as list items; empty where it has none."""
    return SafeString("".join(_item(twig, 0) for twig in tree.twigs))


def _item(twig: Twig, depth: int) -> str:
    if not twig.twigs:
        again = _note(_("its own branches stand higher up")) if twig.again else ""
        return f"<li>{_line(twig)}{again}</li>"
    inner = "".join(_item(one, depth + 1) for one in twig.twigs)
    return f"<li><details{' open' if depth < OPEN_TO else ''}><summary>{_line(twig)}</summary><ul>{inner}</ul></details></li>"


def _line(twig: Twig) -> str:
    node = twig.node
    words = twig.edge.words if twig.edge else ""
    return "".join(
        [
            f'<span class="kind">{escape(_(node.kind))}</span> ',
            f'<a href="{escape(own_url(node.kind, node.pk, node.name) or trace_url(node.kind, node.pk))}">{escape(node.name)}</a>',
            f' <span class="amount">{escape(words)}</span>' if words else "",
            _note(node.note),
            _note(moment(node.at)),
        ]
    )


def _note(text: str) -> str:
    return f' <span class="note">{escape(text)}</span>' if text else ""
