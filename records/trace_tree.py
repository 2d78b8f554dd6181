"""The tree of a trace as text of a page: nested lists that open and close with plain details and summary, by keyboard too.

Drawn here like the picture beside it: as a template that includes itself it took longer than reading what is in it.
"""

from __future__ import annotations

from html import escape

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from records.trace_graph import KINDS, Twig
from records.trace_urls import own_url, trace_url
from shop.templatetags.shop import moment

OPEN_TO = 2
"""Levels that stand open at first."""


def tree_html(tree: Twig) -> SafeString:
    """The branches below a root as list items; empty where it has none."""
    words = {kind: escape(_(kind)) for kind in KINDS}
    return SafeString("".join(_item(twig, 0, words) for twig in tree.twigs))


def _item(twig: Twig, depth: int, words: dict[str, str]) -> str:
    """words: the kinds in the reader's language."""
    if not twig.twigs:
        again = _note(_("its own branches stand higher up")) if twig.again else ""
        return f"<li>{_line(twig, words)}{again}</li>"
    inner = "".join(_item(one, depth + 1, words) for one in twig.twigs)
    return f"<li><details{' open' if depth < OPEN_TO else ''}><summary>{_line(twig, words)}</summary><ul>{inner}</ul></details></li>"


def _line(twig: Twig, words: dict[str, str]) -> str:
    node = twig.node
    amount = twig.edge.words if twig.edge else ""
    return "".join(
        [
            f'<span class="kind">{words[node.kind]}</span> ',
            f'<a href="{escape(own_url(node.kind, node.pk, node.name) or trace_url(node.kind, node.pk))}">{escape(node.name)}</a>',
            f' <span class="amount">{escape(amount)}</span>' if amount else "",
            _note(node.note),
            _note(moment(node.at)),
        ]
    )


def _note(text: str) -> str:
    return f' <span class="note">{escape(text)}</span>' if text else ""
