"""What is measured on a termination: each characteristic with its quantity, unit, gauge and where its limits stand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from django.db import models
from django.utils.translation import gettext_lazy as _

from shop.tools import GaugeKind

Quantity = Literal["length", "force", "resistance", "share"]

BASE_UNIT: Mapping[Quantity, str] = {"length": "mm", "force": "N", "resistance": "mΩ", "share": "%"}
"""The unit in which values and limits of a quantity are stored."""

SUFFIX: Mapping[Quantity, str] = {"length": "mm", "force": "n", "resistance": "mohm", "share": "pct"}
"""The same unit as it stands in the name of a field."""


class Characteristic(models.TextChoices):
    """In the order of measuring. A pull force has a table of its own, because how it ended is recorded with it."""

    CRIMP_HEIGHT = "crimp height", _("crimp height")
    CRIMP_WIDTH = "crimp width", _("crimp width")
    INSULATION_HEIGHT = "insulation crimp height", _("insulation crimp height")
    STRIP_LENGTH = "strip length", _("strip length")
    BELL_MOUTH = "bell mouth", _("bell mouth")
    BRUSH = "conductor brush", _("conductor brush")
    CUT_OFF_TAB = "cut-off tab", _("cut-off tab")
    RESISTANCE = "resistance", _("resistance")
    PULL_FORCE = "pull force", _("pull force")
    COMPACTION = "compaction", _("compaction")


@dataclass(frozen=True, slots=True)
class Measured:
    """How a characteristic is measured. field: the stem of its limits' fields, as in `crimp_height_min_mm`; has_*: which of them exist.

    gauge_kind: the usual one; a plan may name another.
    """

    quantity: Quantity
    field: str
    gauge_kind: str
    has_low: bool = True
    has_nominal: bool = True
    has_high: bool = True

    @property
    def unit(self) -> str:
        return BASE_UNIT[self.quantity]

    def limit_field(self, which: Literal["min", "nominal", "max"]) -> str | None:
        """The field of one limit, None where the characteristic has no such limit."""
        there = {"min": self.has_low, "nominal": self.has_nominal, "max": self.has_high}[which]
        return f"{self.field}_{which}_{SUFFIX[self.quantity]}" if there else None


_CALIPER, _SCOPE = GaugeKind.CALIPER.value, GaugeKind.MICROSCOPE.value

MEASURED: Mapping[str, Measured] = {
    Characteristic.CRIMP_HEIGHT.value: Measured("length", "crimp_height", GaugeKind.CRIMP_HEIGHT.value),
    Characteristic.CRIMP_WIDTH.value: Measured("length", "crimp_width", _CALIPER),
    Characteristic.INSULATION_HEIGHT.value: Measured("length", "insulation_height", _CALIPER),
    Characteristic.STRIP_LENGTH.value: Measured("length", "strip_length", _CALIPER),
    Characteristic.BELL_MOUTH.value: Measured("length", "bell_mouth", _SCOPE, has_nominal=False),
    Characteristic.BRUSH.value: Measured("length", "brush", _SCOPE, has_nominal=False),
    Characteristic.CUT_OFF_TAB.value: Measured("length", "cut_off_tab", _CALIPER, has_low=False, has_nominal=False),
    Characteristic.RESISTANCE.value: Measured("resistance", "resistance", GaugeKind.MILLIOHM_METER.value, has_low=False, has_nominal=False),
    Characteristic.PULL_FORCE.value: Measured("force", "pull_force", GaugeKind.PULL_TESTER.value, has_nominal=False, has_high=False),
    Characteristic.COMPACTION.value: Measured("share", "compaction", _SCOPE, has_nominal=False),
}


def gauge_kinds_for(characteristic: str) -> tuple[str, ...]:
    """The kinds of gauge that can measure it, the usual one first."""
    usual = MEASURED[characteristic].gauge_kind
    lengths = (GaugeKind.CRIMP_HEIGHT.value, _CALIPER, _SCOPE)
    if MEASURED[characteristic].quantity != "length":
        return (usual,)
    # A caliper's jaws do not meet at the middle of a crimped barrel: crimp height is for blade and point (common practice).
    return (usual,) if characteristic == Characteristic.CRIMP_HEIGHT else (usual, *(k for k in lengths if k != usual))
