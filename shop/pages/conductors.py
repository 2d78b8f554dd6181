"""Conductor sizes: one size in every way of writing it, its resistance, and several wires in one barrel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET

from shop.conductor import Conductor, combined_csa_mm2, enclosing_diameter_mm
from shop.forms.conductors import BarrelWire, ConductorForm
from shop.pages.catalogue import Crumb
from shop.pages.plan import crumbs_to
from shop.resistance import CLASSES, FEET_PER_KM, METALS, at_temperature, conductor_resistance, metal_for, r20_max_ohm_per_km, table_factor
from shop.sizes import every_size
from shop.stranding import Overall
from shop.templatetags.shop import figure


@dataclass(frozen=True, slots=True)
class Line:
    """One figure with its unit, and what is to be known about it."""

    label: str
    value: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Resistance:
    """One resistance per length, at 20 °C and at the temperature asked."""

    label: str
    at_20: str
    at_t: str
    per_1000_ft: str
    source: str
    is_chosen: bool = False


@dataclass(frozen=True, slots=True)
class ConductorPage:
    crumbs: list[Crumb]
    form: ConductorForm
    title: str
    lines: list[Line]
    resistances: list[Resistance]
    classes: list[Resistance]
    class_note: str
    temperature: str
    factor_note: str
    barrel: list[Line]
    barrel_estimate: bool


@require_GET
def conductors(request: HttpRequest) -> HttpResponse:
    form = ConductorForm(request.GET or {"temperature": "20"})
    form.is_valid()
    stated = form.cleaned_data
    size: Conductor | None = stated.get("size")
    temperature: Decimal = stated.get("temperature") or Decimal(20)
    classes, class_note = _classes(size, temperature) if size else ([], "")
    wires: list[BarrelWire] = stated.get("wires") or []
    page = ConductorPage(
        crumbs=crumbs_to(),
        form=form,
        title=size.text if size else "",
        lines=_lines(size) if size else [],
        resistances=_resistances(size, temperature, stated.get("material", "copper")) if size else [],
        classes=classes,
        class_note=class_note,
        temperature=figure(temperature),
        factor_note=_("To have at 20 °C what was measured at {t} °C, the table of IEC 60228 multiplies by {k}.").format(
            t=figure(temperature), k=table_factor(temperature)
        ),
        barrel=_barrel(wires) if wires else [],
        barrel_estimate=len(wires) > 1,
    )
    return render(request, "plan/conductors.html", {"page": page, "place": "plan"}, status=422 if form.errors else 200)


def _lines(size: Conductor) -> list[Line]:
    shown = every_size(size)
    gauge = _("exactly on the gauge scale {number}").format(number=f"{shown.awg.number:.2f}")
    lines = [
        Line(_("Conductor area"), f"{figure(shown.csa_mm2)} mm²"),
        Line(_("In circular mils"), f"{figure(shown.cmil)} cmil"),
        Line(_("Solid wire of this area"), f"{figure(shown.solid_diameter_mm, 3)} mm, {shown.solid_diameter_mm / Decimal('25.4'):.4f} in"),
        Line(_("Nearest gauge, as solid wire"), f"AWG {shown.awg.nearest}", gauge),
    ]
    if size.awg:
        lines.append(Line(_("Gauge as written"), f"AWG {size.awg}", _("a table that lists gauges is read by this one")))
    if shown.nominal_mm2 is not None and shown.nominal_mm2 != shown.csa_mm2:
        lines.append(Line(_("Nominal size nearby"), f"{figure(shown.nominal_mm2)} mm²", "IEC 60228"))
    if shown.strands and shown.strand_diameter_mm is not None:
        inches = f"{shown.strand_diameter_mm / Decimal('25.4'):.4f} in"
        lines.append(Line(_("Stranding"), f"{shown.strands} × {figure(shown.strand_diameter_mm)} mm", inches))
    if shown.bunched is not None:
        lines.append(_overall(_("Over the strands, bunched"), shown.bunched, _("common practice")))
    if shown.concentric is not None:
        lines.append(_overall(_("Over the strands, concentric"), shown.concentric, _("factors as with ASTM B8")))
    elif shown.bunched is not None:
        lines.append(Line(_("Over the strands, concentric"), "–", _("so many strands make no closed layers")))
    return lines


def _overall(label: str, overall: Overall, source: str) -> Line:
    note = _("{factor} strand diameters, {packing} of the circle is metal; {source}")
    packing = f"{overall.packing * 100:.1f} %"
    return Line(label, f"{figure(overall.diameter_mm, 2)} mm", note.format(factor=figure(overall.factor), packing=packing, source=source))


def _ohm(value: Decimal) -> str:
    """Four figures that count: what a table of resistances prints."""
    return figure(value.quantize(Decimal(1).scaleb(value.adjusted() - 3), ROUND_HALF_UP)) if value else "0"


def _resistance(label: str, r20: Decimal, temperature: Decimal, per_kelvin: Decimal, source: str, *, chosen: bool = False) -> Resistance:
    warm = at_temperature(r20, temperature, per_kelvin)
    return Resistance(label, _ohm(r20), _ohm(warm), _ohm(warm / FEET_PER_KM * 1000), source, chosen)


def _resistances(size: Conductor, temperature: Decimal, chosen: str) -> list[Resistance]:
    """Nominal resistance of every metal, the one asked for marked."""
    made = []
    for code in METALS:
        metal, r20 = metal_for(code, size.strand_diameter_mm), conductor_resistance(size, code)
        if metal is not None and r20 is not None:
            made.append(_resistance(_(code), r20, temperature, metal.per_kelvin, metal.source, chosen=code == chosen))
    return made


def _classes(size: Conductor, temperature: Decimal) -> tuple[list[Resistance], str]:
    """The greatest resistances of the nominal size, by class and coating."""
    nominal = every_size(size).nominal_mm2
    if nominal is None:
        return [], _("IEC 60228 has no nominal size near {area} mm².").format(area=figure(size.csa_mm2))
    made = []
    for number, name in CLASSES.items():
        for coated, word in ((False, _("plain copper")), (True, _("metal-coated copper"))):
            r20 = r20_max_ohm_per_km(nominal, number, metal_coated=coated)
            if r20 is not None:
                label = _("class {number} ({name}), {word}").format(number=number, name=_(name), word=word)
                made.append(_resistance(label, r20, temperature, METALS["copper"].per_kelvin, "IEC 60228:2004"))
    return made, _("For nominal {area} mm².").format(area=figure(nominal))


def _barrel(wires: Sequence[BarrelWire]) -> list[Line]:
    """Areas add; diameters make a circle, exact or as an estimate."""
    conductor = Conductor(" + ".join(w.name for w in wires), combined_csa_mm2([w.conductor for w in wires]))
    shown = every_size(conductor)
    lines = [
        Line(_("Wires"), conductor.text),
        Line(_("Area together"), f"{figure(shown.csa_mm2)} mm²", _("the sum, exact: NASA-STD-8739.4 clause 19.11")),
        Line(_("In circular mils"), f"{figure(shown.cmil)} cmil"),
        Line(_("Nearest gauge, as solid wire"), f"AWG {shown.awg.nearest}"),
    ]
    ods = [w.od_mm for w in wires if w.od_mm is not None]
    if len(ods) < len(wires):
        lines.append(Line(_("Circle around the insulation"), "–", _("the insulation diameter of a wire is missing")))
        return lines
    circle = enclosing_diameter_mm(ods)
    if circle.estimate:
        note = _("an estimate: an arrangement of this size was found; none is smaller than {least} mm").format(
            least=figure(circle.at_least_mm, 2)
        )
    else:
        note = _("exact")
    lines.append(Line(_("Circle around the insulation"), f"{figure(circle.diameter_mm, 2)} mm", note))
    return lines
