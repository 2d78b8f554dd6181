"""One conductor size in every way of writing it: area, gauge, circular mils, diameter, and its stranding where one is known."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from shop.conductor import Conductor, EquivalentAwg, area_diameter_mm, equivalent_awg, mm2_to_cmil
from shop.resistance import nearest_nominal_mm2
from shop.stranding import Overall, bunched, concentric


@dataclass(frozen=True, slots=True)
class EverySize:
    """csa_mm2: as the conductor has it. cmil: to the tenth. awg: position on the gauge scale and nearest gauge, of the solid wire.

    solid_diameter_mm: of a solid wire of this area. concentric, bunched: over the bare stranding, None where no strands are known or
    they make no closed layers. nominal_mm2: the size of IEC 60228 it is sold as, where one is near.
    """

    csa_mm2: Decimal
    cmil: Decimal
    awg: EquivalentAwg
    solid_diameter_mm: Decimal
    strands: int | None
    strand_diameter_mm: Decimal | None
    concentric: Overall | None
    bunched: Overall | None
    nominal_mm2: Decimal | None


def every_size(conductor: Conductor) -> EverySize:
    """A size read by `parse_size`, shown in all the others. Rounded for reading: no rule compares these."""
    strands, strand_mm = conductor.strands, conductor.strand_diameter_mm
    twisted = strands is not None and strands > 1 and strand_mm is not None
    return EverySize(
        csa_mm2=conductor.csa_mm2,
        cmil=mm2_to_cmil(conductor.csa_mm2).quantize(Decimal("0.1"), ROUND_HALF_UP),
        awg=equivalent_awg(conductor.csa_mm2),
        solid_diameter_mm=area_diameter_mm(conductor.csa_mm2).quantize(Decimal("0.001"), ROUND_HALF_UP),
        strands=strands,
        strand_diameter_mm=strand_mm,
        concentric=concentric(strands, strand_mm) if twisted and strands and strand_mm else None,
        bunched=bunched(strands, strand_mm) if twisted and strands and strand_mm else None,
        nominal_mm2=nearest_nominal_mm2(conductor.csa_mm2),
    )
