"""QR codes as inline SVG, for the page and the PDF alike."""

from __future__ import annotations

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
    runs = []
    for y, row in enumerate(code.matrix, start=QUIET_ZONE_MODULES):
        x = 0
        while x < len(row):
            start = x
            while x < len(row) and row[x]:
                x += 1
            if x > start:
                # One horizontal bar per run: no hairlines between modules when a printer rounds.
                runs.append(f"M{start + QUIET_ZONE_MODULES} {y}h{x - start}v1h-{x - start}z")
            else:
                x += 1
    side = len(code.matrix) + 2 * QUIET_ZONE_MODULES
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{size_mm:g}mm" height="{size_mm:g}mm" '
        f'viewBox="0 0 {side} {side}" shape-rendering="crispEdges"><title>QR code: {escape(text)}</title>'
        f'<rect width="{side}" height="{side}" fill="#fff"/><path fill="#000" d="{"".join(runs)}"/></svg>'
    )
