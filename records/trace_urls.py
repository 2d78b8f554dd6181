"""Where the things of a trace have their pages."""

from __future__ import annotations

from shop.pages.addresses import address

CATALOGUE = {
    "wire lot": "wire-lots",
    "terminal lot": "terminal-lots",
    "tool": "tools",
    "press": "presses",
    "gauge": "gauges",
    "person": "people",
    "document": "documents",
    "customer": "customers",
}


def own_url(kind: str, pk: int, name: str) -> str:
    """The page of the thing itself; empty where it has none."""
    match kind:
        case "shipment":
            return address("prove:shipment", name)
        case "harness lot":
            return address("prove:lot", name)
        case "batch":
            return address("prove:batch", name)
        case "sheet":
            return address("plan:sheet", pk)
    return address("shop:detail", CATALOGUE[kind], pk) if kind in CATALOGUE else ""


def trace_url(kind: str, pk: int) -> str:
    return address("prove:trace", kind.replace(" ", "-"), pk)
