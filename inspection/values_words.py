"""The units a value may be typed in, and how each characteristic is measured, in words: for the floor pages and the station pack."""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from shop.characteristics import Quantity

UNITS: dict[Quantity, tuple[str, ...]] = {"length": ("mm", "in"), "force": ("N", "lbf"), "resistance": ("mΩ", "µΩ"), "share": ("%",)}

HOW: dict[str, Promise] = {
    "crimp height": _("At the middle of the conductor barrel, with the blade-and-point micrometer."),
    "crimp width": _("Across the conductor barrel, with the caliper."),
    "insulation crimp height": _("Over the insulation support, with the caliper."),
    "strip length": _("From the cut to the insulation, on a stripped wire."),
    "bell mouth": _("The flare at the wire end of the conductor barrel, along the wire."),
    "conductor brush": _("How far the strands stand out of the conductor barrel, towards the mating end."),
    "cut-off tab": _("What the cut from the strip left on the terminal."),
    "resistance": _("Four-wire, from the wire to the terminal behind the crimp; the length of wire between as the specification says."),
    "compaction": _("Read off the cross-section, in percent as the specification defines it."),
    "pull force": _("Support opened or not crimped; pull steadily at 25 to 50 mm/min (common practice)."),
}
