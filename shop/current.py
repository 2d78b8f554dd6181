"""What a current does in a wire: density, voltage drop and heat per metre. Advice only; no rule refuses anything because of it.

How much current a wire may carry depends on bundling, ambient temperature, duty and the applicable wiring code, and a licensed person
decides. The catalogue may repeat a rating that such a source states; without one nothing is compared.
Drop and heat follow from Ohm's and Joule's laws with the nominal resistance of `shop.resistance`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal

from shop.conductor import Conductor
from shop.resistance import HOTTEST_C, conductor_resistance

Standing = Literal["within", "above", "not stated"]


@dataclass(frozen=True, slots=True)
class Carrier:
    """A part that carries the current: a wire or the terminal. rating_a: as its source states it, None where none is recorded."""

    part_number: str
    rating_a: Decimal | None = None
    source: str = ""


@dataclass(frozen=True, slots=True)
class WireCurrent:
    """One wire with the whole current in it.

    density_a_mm2: ampere per mm² of conductor. drop_mv_m, heat_w_m: per metre at `temperature_c`; None where the material has no figure.
    """

    carrier: Carrier
    standing: Standing
    density_a_mm2: Decimal
    drop_mv_m: Decimal | None
    heat_w_m: Decimal | None
    temperature_c: Decimal


@dataclass(frozen=True, slots=True)
class CurrentAdvice:
    """terminal: its standing, "not stated" where the catalogue has no rating. Where several wires share a barrel, each is shown with the
    whole current: which of them carries how much, the circuit decides."""

    asked_a: Decimal
    wires: tuple[WireCurrent, ...]
    terminal: Carrier
    terminal_standing: Standing

    @property
    def standing(self) -> Standing:
        """The worst of all parts; "not stated" where a part has no rating and none is above."""
        standings = [wire.standing for wire in self.wires] + [self.terminal_standing]
        return "above" if "above" in standings else "not stated" if "not stated" in standings else "within"


def standing_of(asked_a: Decimal, rating_a: Decimal | None) -> Standing:
    if rating_a is None:
        return "not stated"
    return "within" if asked_a <= rating_a else "above"


def wire_current(asked_a: Decimal, conductor: Conductor, material: str, carrier: Carrier, temperature_c: Decimal) -> WireCurrent:
    """A wire with this current. temperature_c: of the conductor; above the range of the resistance formula its upper end is taken.

    Raises ValueError for a current that is not finite and positive.
    """
    if not asked_a.is_finite() or asked_a <= 0:
        raise ValueError(f"a current is finite and positive, not {asked_a}")
    temperature_c = min(temperature_c, HOTTEST_C)
    per_km = conductor_resistance(conductor, material, temperature_c)
    return WireCurrent(
        carrier=carrier,
        standing=standing_of(asked_a, carrier.rating_a),
        density_a_mm2=_rounded(asked_a / conductor.csa_mm2),
        drop_mv_m=None if per_km is None else _rounded(asked_a * per_km),  # ohm/km is milliohm/m
        heat_w_m=None if per_km is None else _rounded(asked_a**2 * per_km / 1000),
        temperature_c=temperature_c,
    )


def current_advice(asked_a: Decimal, wires: Sequence[WireCurrent], terminal: Carrier) -> CurrentAdvice:
    return CurrentAdvice(asked_a, tuple(wires), terminal, standing_of(asked_a, terminal.rating_a))


def _rounded(value: Decimal) -> Decimal:
    """Three significant figures, half up: the resistance behind it is a nominal one."""
    if value == 0:
        return value
    return value.quantize(Decimal(1).scaleb(value.adjusted() - 2), ROUND_HALF_UP)
