"""How far a long list is counted."""

from __future__ import annotations

COUNTED = 1000
"""Nobody reads on to know whether it is 48,213 or 48,214; counting them all for each page takes longer than the page itself."""
