"""Data Matrix symbols (ISO/IEC 16022, ECC 200) as inline SVG: smaller than a QR code of the same text, for tags and small labels."""

from __future__ import annotations

from typing import Any

import zxingcpp

from records.qr import modules_svg

QUIET_ZONE_MODULES = 1  # ISO/IEC 16022 asks for one module of white on every side
LONGEST = 200
"""Characters in one symbol: more of them give modules too small for a hand scanner. Our own choice."""


def data_matrix_svg(text: str, *, size_mm: float) -> str:
    """`text` as a square Data Matrix, `size_mm` wide with its quiet zone. Raises ValueError for an empty or too long text."""
    if not text or len(text) > LONGEST:
        raise ValueError(f"a Data Matrix here carries 1 to {LONGEST} characters, not {len(text)}")
    if not size_mm > 0:
        raise ValueError("size_mm must be positive")
    made = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DataMatrix, force_square=True)
    image: Any = memoryview(made.to_image(scale=1, add_quiet_zones=False))  # type: ignore[arg-type]  # it has a buffer, its stubs do not say so
    matrix = [[int(image[y, x] == 0) for x in range(image.shape[1])] for y in range(image.shape[0])]
    return modules_svg(matrix, size_mm=size_mm, quiet_zone=QUIET_ZONE_MODULES, title=f"Data Matrix: {text}")
