"""The rows of the two long tables of a trace, as text of a page: where a thing went, and the six parts of each batch behind a lot.

Drawn here like the tree: a page has a hundred of them, and each asks for several words and addresses.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape
from typing import TYPE_CHECKING

from django.utils.formats import localize
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from records.models import IssuedDocument
from records.trace import Reach
from shop.fields import label_of
from shop.pages.addresses import address
from shop.templatetags.shop import moment, shape, verdict

if TYPE_CHECKING:
    from records.queries import BatchRow, Cell


def where_rows(rows: Iterable[Reach]) -> SafeString:
    """Batches, each with the lots and shipments it went into."""
    none, not_shipped = _quiet(_("none")), _quiet(_("not shipped"))
    return SafeString("".join(_where_row(row, none, not_shipped) for row in rows))


def _where_row(row: Reach, none: str, not_shipped: str) -> str:
    batch = row.batch
    lots = shipped = ""
    for lot, n in row.in_lots:
        pieces = _("%(n)s pieces") % {"n": localize(n)}
        lots += f"{_link('prove:lot', lot.number)} {_note(pieces)}"
    for shipment, _lot, n in row.shipped:
        harnesses = _("%(n)s harnesses") % {"n": localize(n)}
        shipped += f"{_link('prove:shipment', shipment.number)} {_note(f'{shipment.customer.name}, {harnesses}')}"
    made = batch.last_count if batch.made is None else batch.made
    good = "–" if batch.good is None else localize(batch.good)
    return (
        f'<tr><th scope="row">{_link("prove:batch", batch.number)}</th><td>{escape(label_of(batch, "status"))}</td>'
        f'<td class="code">{escape(str(batch.termination.sheet))}</td><td class="figure">{localize(made)}</td>'
        f'<td class="figure">{good}</td><td>{lots or none}</td><td>{shipped or not_shipped}</td><td>{moment(batch.opened_at)}</td></tr>'
    )


def behind_rows(rows: Iterable[BatchRow]) -> SafeString:
    """Batches with a cell for each of the six parts, and what was issued of them."""
    lead, end, nothing = escape(_("Lead")), escape(_("end")), _("nothing yet")
    nothing = f'<li class="quiet">{escape(nothing)}</li>'
    return SafeString("".join(_behind_row(row, lead, end, nothing) for row in rows))


def _behind_row(row: BatchRow, lead: str, end: str, nothing: str) -> str:
    t = row.batch.termination
    pieces = ngettext("%(n)s piece", "%(n)s pieces", row.quantity) % {"n": localize(row.quantity)}
    issued = "".join(f"<li>{_document_link(document)}</li>" for document in row.documents)
    return (
        f'<tr><th scope="row">{_link("prove:batch", row.batch.number)}'
        f'<span class="note">{lead} {escape(t.lead)}, {end} {escape(t.end)}</span><span class="note">{escape(pieces)}</span></th>'
        f"{''.join(f'<td>{_cell(cell)}</td>' for cell in row.cells)}"
        f'<td><ul class="evidence-lines">{issued or nothing}</ul></td></tr>'
    )


def _cell(cell: Cell) -> str:
    """A part's verdict and its lines of evidence, each with the record it opens."""
    items = (f'<a href="{escape(line.url)}">{escape(line.text)}</a>' if line.url else escape(line.text) for line in cell.evidence)
    return (
        f'<span class="verdict {verdict(cell.state)}">{shape(cell.state)}<span class="verdict-word">{escape(cell.state_word)}</span></span>'
        f'<ul class="evidence-lines">{"".join(f"<li>{item}</li>" for item in items)}</ul>'
    )


def _document_link(document: IssuedDocument) -> str:
    url = address("prove:document", document.number, document.issue)
    return f'<a href="{escape(url)}">{escape(label_of(document, "kind"))}</a>'


def _link(page: str, number: str) -> str:
    return f'<a href="{escape(address(page, number))}">{escape(number)}</a>'


def _note(text: str) -> str:
    return f'<span class="note">{escape(text)}</span>'


def _quiet(word: str) -> str:
    return f'<span class="quiet">{escape(word)}</span>'
