"""What a tablet has to know to take a value from the gauge itself, and to show beforehand what it would amount to."""

from __future__ import annotations

import json
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.conf import settings

from inspection.bar import span
from inspection.models import Sample
from inspection.pack_queries import zone_with
from inspection.set_up import current_scans
from inspection.verdict import Limits
from shop.characteristics import BASE_UNIT, Quantity
from shop.tools import Gauge, OutputWay


@dataclass(frozen=True, slots=True)
class Device:
    """The gauge that measures here. way: how it sends, "" where it does not. offer: that for the tablet, as JSON.

    live: limits and zone, for the verdict that is shown while typing. simulation: what the simulated gauge shows; "" where none is offered.
    """

    gauge: str
    way: str
    offer: str
    live: str
    simulation: str


def device_for(sample: Sample, gauge_kind: str, quantity: Quantity, limits: Limits) -> Device:
    scan = current_scans(sample.batch).get(f"gauge {gauge_kind}")
    gauge = scan.gauge if scan else None
    calibration = scan.calibration if scan else None
    left, right = span(limits)
    zone = zone_with(limits, BASE_UNIT[quantity], gauge, calibration) if gauge and calibration else None
    live: dict[str, Any] = {
        "quantity": quantity,
        "limits": {"low": _number(limits.low), "high": _number(limits.high)},
        "zone": None if zone is None else {name: getattr(zone, name) for name in ZONE},
        "left": float(left),
        "right": float(right),
    }
    return Device(
        gauge=gauge.asset_number if gauge else "",
        way=gauge.output.way if gauge and gauge.output else "",
        offer=json.dumps(_offer(gauge)) if gauge and gauge.output else "",
        live=json.dumps(live),
        simulation=json.dumps(_simulation(gauge, quantity, limits)) if settings.SIMULATED_GAUGE and gauge else "",
    )


ZONE = ("proven_low", "proven_high", "reject_below", "reject_above", "nothing_proven", "refused")


def _offer(gauge: Gauge) -> dict[str, Any]:
    output = gauge.output
    if output is None:
        raise AssertionError("asked of gauges with an output only")
    port = {"baudRate": output.baud, "dataBits": output.data_bits, "parity": output.parity, "stopBits": output.stop_bits}
    return {
        "gauge": gauge.asset_number,
        "output": output.name,
        "way": output.way,
        "pattern": output.pattern,
        "decimal": output.decimal,
        "unit": output.unit,
        "lineEnd": output.line_end,
        "request": output.request.replace("\\r", "\r").replace("\\n", "\n"),
        "port": port if output.way == OutputWay.SERIAL else None,
    }


def _simulation(gauge: Gauge, quantity: Quantity, limits: Limits) -> dict[str, Any]:
    """A middle and a spread in the stored unit: most of what it shows conforms."""
    low, high = limits.low, limits.high
    if low is not None and high is not None:
        middle, spread = limits.nominal or (low + high) / 2, (high - low) / 10
    else:
        stated = low if low is not None else high or Decimal(1)
        middle, spread = stated * (Decimal("1.4") if low is not None else Decimal("0.6")), stated / 20
    places = max(0, -int(gauge.resolution.normalize().as_tuple().exponent)) if gauge.unit == BASE_UNIT[quantity] else 3
    return {"middle": float(middle), "spread": float(spread), "places": places, "unit": BASE_UNIT[quantity]}


def _number(value: Decimal | None) -> str | None:
    return None if value is None else format(value, "f")
