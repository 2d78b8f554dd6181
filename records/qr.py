"""QR codes as inline SVG, for the page and the PDF alike."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

import segno

QUIET_ZONE_MODULES = 4  # ISO/IEC 18004 asks for four modules of white around the symbol


def qr_svg(text: str, *, size_mm: float) -> str:
    """`text` as a QR code, error level M, `size_mm` wide with its quiet zone, as one `<svg>` element with a title.

    Attributes only, no style: the page's content security policy refuses inline style. Raises ValueError for an empty or too long text
    and for a size that is not positive.
    """
    if not text:
        raise ValueError("a QR code needs a text")
    if not size_mm > 0:
        raise ValueError("size_mm must be positive")
    try:
        code = segno.make_qr(text, error="m", boost_error=False)
    except segno.DataOverflowError as error:
        raise ValueError(f"too long for a QR code: {len(text)} characters") from error
    return modules_svg(code.matrix, size_mm=size_mm, quiet_zone=QUIET_ZONE_MODULES, title=f"QR code: {text}")


def modules_svg(matrix: Sequence[Sequence[int]], *, size_mm: float, quiet_zone: int, title: str) -> str:
    """A square symbol as one `<svg>` element, `size_mm` wide with its quiet zone. matrix: rows of modules, dark where true."""
    runs = []
    for y, row in enumerate(matrix, start=quiet_zone):
        x = 0
        while x < len(row):
            start = x
            while x < len(row) and row[x]:
                x += 1
            if x > start:
                # One horizontal bar per run: no hairlines between modules when a printer rounds.
                runs.append(f"M{start + quiet_zone} {y}h{x - start}v1h-{x - start}z")
            else:
                x += 1
    side = len(matrix) + 2 * quiet_zone
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{size_mm:g}mm" height="{size_mm:g}mm" '
        f'viewBox="0 0 {side} {side}" shape-rendering="crispEdges"><title>{escape(title)}</title>'
        f'<rect width="{side}" height="{side}" fill="#fff"/><path fill="#000" d="{"".join(runs)}"/></svg>'
    )
