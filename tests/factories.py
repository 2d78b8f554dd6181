"""The shop of the tests: a small cast and a small catalogue that belongs together. Plain functions; what is not named is plausible.

Days are counted from today, so that calibrations and qualifications are current on whatever day the tests run.
`make_cast()` and `make_catalogue()` are what most tests begin with; `draft()`, `in_review()` and `released()` go on through the acts.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from django.test import Client

from shop.acts.sheets import (
    RELEASED_MEANING,
    TerminationInput,
    draft_sheet,
    open_job,
    plan_termination,
    release_sheet,
    submit_sheet,
)
from shop.acts.tablets import offer_tablet
from shop.canonical import content_sha256
from shop.clock import now, shop_day
from shop.conductor import parse_size
from shop.crib import Press
from shop.jobs import Customer, Job, SetupSheet
from shop.materials import LotState, Terminal, TerminalLot, Wire, WireLot
from shop.people import Person, PersonRole, Qualification, Role
from shop.sheet_content import sheet_content
from shop.sign_on import sign
from shop.specifications import CrimpSpecification, Document
from shop.stations import Station, Tablet
from shop.tools import Calibration, Gauge, GaugeOutput, Tool, ToolRow
from tests.remembered import remembered

PASSWORD = "seven grey herons wait"
PIN = "482915"

_numbers = itertools.count(1)


def today() -> date:
    return shop_day(now())


def days(count: int) -> date:
    """The day so many days from today."""
    return today() + timedelta(days=count)


# --- People ----------------------------------------------------------------------------------------------------------------------


def make_person(username: str, *roles: Role, name: str = "", **fields) -> Person:
    """A person with the known password and PIN; the badge is B- and the user name."""
    person = Person(username=username, name=name or username.title(), **({"badge": f"B-{username}"} | fields))
    person.set_password(PASSWORD)
    person.set_pin(PIN)
    person.save()
    PersonRole.objects.bulk_create(PersonRole(person=person, role=role) for role in roles)
    return person


def make_qualification(person: Person, process: str, **fields) -> Qualification:
    given = {"tool_kind": "", "granted_on": days(-200), "expires_on": days(165), "trainer": "Olga Brandt", "evidence": "TR-118"}
    return Qualification.objects.create(person=person, process=process, **(given | fields))


@dataclass(frozen=True)
class Cast:
    planner: Person
    approver: Person
    operator: Person
    inspector: Person
    quality: Person
    auditor: Person
    administrator: Person


@remembered
def make_cast() -> Cast:
    """One person of each kind, all with `PASSWORD` and `PIN`; operator and inspector hold the qualifications they need."""
    cast = Cast(
        planner=make_person("planner", Role.PLANNER, name="Petra Lund"),
        approver=make_person("approver", Role.PLANNER, name="Aino Vik"),
        operator=make_person("operator", Role.OPERATOR, name="Omar Reyes"),
        inspector=make_person("inspector", Role.INSPECTOR, name="Ines Falk"),
        quality=make_person("quality", Role.QUALITY, name="Quirin Moss"),
        auditor=make_person("auditor", Role.AUDITOR, name="Audun Helle"),
        administrator=make_person("administrator", Role.ADMINISTRATOR, name="Ada Winter"),
    )
    for process in ("crimp", "strip", "inspect", "pull test"):
        make_qualification(cast.operator, process)
    for process in ("inspect", "pull test", "cross-section"):
        make_qualification(cast.inspector, process)
    return cast


# --- Materials -------------------------------------------------------------------------------------------------------------------


def make_wire(part_number: str, size: str, od_mm: str, **fields) -> Wire:
    read = parse_size(size)
    given = {
        "size": size,
        "csa_mm2": read.csa_mm2,
        "strands": read.strands,
        "strand_diameter_mm": read.strand_diameter_mm,
        "awg": read.awg or "",
        "insulation_od_mm": Decimal(od_mm),
        "colour": "red",
        "temperature_rating_c": 105,
        "voltage_rating_v": 600,
    }
    return Wire.objects.create(part_number=part_number, **(given | fields))


def make_terminal(part_number: str, csa_mm2: tuple[str, str], od_mm: tuple[str, str] | None, **fields) -> Terminal:
    given = {
        "kind": "receptacle",
        "csa_min_mm2": Decimal(csa_mm2[0]),
        "csa_max_mm2": Decimal(csa_mm2[1]),
        "has_support": od_mm is not None,
        "od_min_mm": od_mm and Decimal(od_mm[0]),
        "od_max_mm": od_mm and Decimal(od_mm[1]),
        "plating": "tin",
    }
    return Terminal.objects.create(part_number=part_number, **(given | fields))


def make_wire_lot(lot_number: str, wire: Wire, **fields) -> WireLot:
    given = {"received_on": days(-30), "quantity": Decimal(500), "state": LotState.RELEASED, "supplier": "Alder Wire Works"}
    return WireLot.objects.create(lot_number=lot_number, wire=wire, **(given | fields))


def make_terminal_lot(lot_number: str, terminal: Terminal, **fields) -> TerminalLot:
    given = {"received_on": days(-30), "quantity": Decimal(5000), "state": LotState.RELEASED, "supplier": "Birk Terminals"}
    return TerminalLot.objects.create(lot_number=lot_number, terminal=terminal, **(given | fields))


# --- Tools, gauges, documents ----------------------------------------------------------------------------------------------------


def make_tool(asset_number: str, kind: str = "applicator", **fields) -> Tool:
    given = {"service_due_count": 500_000, "service_due_on": days(90), "verification_due_on": days(60)}
    return Tool.objects.create(asset_number=asset_number, kind=kind, **(given | fields))


def make_press(asset_number: str, **fields) -> Press:
    """A press that takes `PRESSED`, verified today."""
    given = {
        "mount": "ML-30",
        "feed": "side feed",
        "force_rating_n": Decimal(20000),
        "shut_height_mm": Decimal("135.78"),
        "shut_height_tolerance_mm": Decimal("0.05"),
        "shut_height_verified_on": days(-20),
        "shut_height_due_on": days(70),
    }
    return Press.objects.create(asset_number=asset_number, **(given | fields))


PRESSED = {"mount": "ML-30", "feed": "side feed", "shut_height_mm": Decimal("135.80")}
"""What a tool states that goes into `make_press`."""


def set_up_press(catalogue: Catalogue, **fields) -> Press:
    """Let the catalogue's tool and terminal state what a press must give, and make one that gives it."""
    Tool.objects.filter(pk=catalogue.tool.pk).update(**PRESSED)
    Terminal.objects.filter(pk=catalogue.terminal.pk).update(crimp_force_n=Decimal(9000))
    catalogue.tool.refresh_from_db()
    catalogue.terminal.refresh_from_db()
    return make_press("PR-02", **fields)


def make_station(code: str, *, tools: Sequence[Tool] = (), **fields) -> Station:
    """A bench with these tools, in use."""
    station = Station.objects.create(code=code, **({"name": f"Bench {code}"} | fields))
    station.own_tools.set(tools)
    return station


def make_gauge_output(name: str, **fields) -> GaugeOutput:
    """How a gauge sends: a figure and its unit at a serial port."""
    return GaugeOutput.objects.create(name=name, **({"way": "serial", "pattern": "{value} {unit}", "unit": "mm"} | fields))


def make_tablet(name: str, station: Station, by: Person, client: Client) -> Tablet:
    """Enrol the test client as this tablet, by a code that `by` (an administrator) makes."""
    offer = offer_tablet(name=name, station=station, by=by, at=now())
    assert client.post("/make/enrol/", {"code": offer.code}).status_code == 302
    return Tablet.objects.get(name=name)


def make_row(tool: Tool, terminal: Terminal, csa_mm2: tuple[str, str], od_mm: tuple[str, str] | None, **fields) -> ToolRow:
    return ToolRow.objects.create(
        tool=tool,
        terminal=terminal,
        csa_min_mm2=Decimal(csa_mm2[0]),
        csa_max_mm2=Decimal(csa_mm2[1]),
        od_min_mm=od_mm and Decimal(od_mm[0]),
        od_max_mm=od_mm and Decimal(od_mm[1]),
        **fields,
    )


def make_gauge(asset_number: str, kind: str, unit: str, resolution: str, *, due_in: int = 120, **fields) -> Gauge:
    """A gauge calibrated 245 days before the day its calibration runs out."""
    gauge = Gauge.objects.create(asset_number=asset_number, kind=kind, unit=unit, resolution=Decimal(resolution), **fields)
    make_calibration(gauge, calibrated_on=days(due_in - 245), due_on=days(due_in))
    return gauge


def make_calibration(gauge: Gauge, **fields) -> Calibration:
    given = {
        "calibrated_on": days(-100),
        "due_on": days(265),
        "certificate": f"CC-{next(_numbers)}",
        "laboratory": "Ravn Calibration",
        "result": "in tolerance",
        "expanded_uncertainty": Decimal("0.002"),
    }
    return Calibration.objects.create(gauge=gauge, **(given | fields))


def make_document(number: str = "AS-250", revision: str = "B", **fields) -> Document:
    given = {"title": "Receptacle 6.3, application", "kind": "application specification", "effective_on": days(-400)}
    return Document.objects.create(number=number, revision=revision, **(given | fields))


def make_specification(number: str, terminal: Terminal, document: Document, csa_mm2: tuple[str, str], **fields) -> CrimpSpecification:
    given = {
        "revision": "1",
        "crimp_height_min_mm": Decimal("1.35"),
        "crimp_height_nominal_mm": Decimal("1.40"),
        "crimp_height_max_mm": Decimal("1.45"),
        "crimp_width_min_mm": Decimal("1.95"),
        "crimp_width_max_mm": Decimal("2.15"),
        "insulation_height_min_mm": Decimal("2.20"),
        "insulation_height_max_mm": Decimal("2.60"),
        "strip_length_min_mm": Decimal("3.8"),
        "strip_length_max_mm": Decimal("4.4"),
        "pull_force_min_n": Decimal(85),
        "pull_force_source": f"{document}, table 2",
        "effective_on": days(-400),
    }
    return CrimpSpecification.objects.create(
        number=number,
        terminal=terminal,
        document=document,
        csa_min_mm2=Decimal(csa_mm2[0]),
        csa_max_mm2=Decimal(csa_mm2[1]),
        **(given | fields),
    )


@dataclass(frozen=True)
class Catalogue:
    """`wire`, `terminal`, `tool`, `specification` and `gauges` fit each other; every other item breaks exactly one rule with them."""

    customer: Customer
    wire: Wire  # 0.75 mm², OD 1.9 mm
    wire_small: Wire  # 0.35 mm²: below the terminal's range
    wire_large: Wire  # 2.5 mm²: above it
    wire_thick: Wire  # 0.75 mm², OD 3.4 mm: outside the support
    terminal: Terminal  # 0.5 to 1.5 mm², OD 1.4 to 2.6 mm, two wires at most
    ring: Terminal  # 1.0 to 2.5 mm², no support
    tool: Tool  # row for `terminal`: 0.5 to 1.5 mm², OD 1.4 to 2.6 mm
    row: ToolRow
    tool_narrow: Tool  # its row for `terminal` begins at 1.2 mm²
    tool_ring: Tool  # hand tool with a row for `ring` only
    document: Document
    specification: CrimpSpecification  # `terminal`, 0.5 to 1.5 mm²: crimp height 1.35 to 1.45 mm, pull force 85 N
    micrometer: Gauge
    caliper: Gauge
    pull_tester: Gauge
    micrometer_overdue: Gauge
    wire_lot: WireLot
    terminal_lot: TerminalLot
    terminal_lot_held: TerminalLot
    ring_lot: TerminalLot


@remembered
def make_catalogue() -> Catalogue:
    wire = make_wire("W-075-RD", "24x0.2", "1.9")
    terminal = make_terminal("T-250-F", ("0.5", "1.5"), ("1.4", "2.6"), wires_max=2)
    ring = make_terminal("T-M5-R", ("1.0", "2.5"), None, kind="ring tongue")
    tool, narrow, for_ring = make_tool("AP-031"), make_tool("AP-040"), make_tool("HT-007", "hand tool")
    make_row(narrow, terminal, ("1.2", "1.5"), ("1.4", "2.6"), setting="C1 I1")
    make_row(for_ring, ring, ("1.0", "2.5"), None, cavity="2")
    document = make_document()
    make_station("S-01", tools=[tool])
    make_gauge_output("bench micrometer")
    return Catalogue(
        customer=Customer.objects.create(code="BRUNNEN", name="Brunnen Pumps"),
        wire=wire,
        wire_small=make_wire("W-035-BU", "7x0.25", "1.5", colour="blue"),
        wire_large=make_wire("W-250-BK", "50x0.25", "2.5", colour="black"),
        wire_thick=make_wire("W-075-GN", "24x0.2", "3.4", colour="green"),
        terminal=terminal,
        ring=ring,
        tool=tool,
        row=make_row(tool, terminal, ("0.5", "1.5"), ("1.4", "2.6"), setting="C3 I2"),
        tool_narrow=narrow,
        tool_ring=for_ring,
        document=document,
        specification=make_specification("CS-250", terminal, document, ("0.5", "1.5")),
        micrometer=make_gauge("MIC-01", "crimp-height micrometer", "mm", "0.001"),
        caliper=make_gauge("CAL-01", "caliper", "mm", "0.01"),
        pull_tester=make_gauge("PULL-01", "pull tester", "N", "0.1"),
        micrometer_overdue=make_gauge("MIC-09", "crimp-height micrometer", "mm", "0.001", due_in=-1),
        wire_lot=make_wire_lot("WL-1001", wire),
        terminal_lot=make_terminal_lot("TL-2001", terminal),
        terminal_lot_held=make_terminal_lot("TL-2002", terminal, state=LotState.ON_HOLD, state_reason="plating flakes"),
        ring_lot=make_terminal_lot("TL-3001", ring),
    )


# --- Jobs and sheets, through the acts -------------------------------------------------------------------------------------------


def make_job(customer: Customer, by: Person, **stated) -> Job:
    given = {
        "number": f"J-{2040 + next(_numbers)}",
        "part_number": "H-5501",
        "part_name": "Pump harness",
        "drawing": "D-5501",
        "drawing_revision": "C",
        "quantity": 100,
    }
    return open_job(customer=customer, by=by, at=now(), **(given | stated))


def stated(catalogue: Catalogue, **changed) -> TerminationInput:
    """A termination that fits: `wire` in `terminal` on `tool`."""
    given = {
        "lead": "L1",
        "end": "A",
        "circuit": "P+",
        "terminal": catalogue.terminal,
        "wires": [catalogue.wire],
        "tool": catalogue.tool,
        "quantity": 100,
        "wire_length_mm": Decimal(450),
    }
    return TerminationInput(**(given | changed))


@remembered
def draft(cast: Cast, catalogue: Catalogue, *, terminations: int = 1, job: Job | None = None, **changed) -> SetupSheet:
    """A draft by the planner with terminations that fit, changed as said."""
    sheet = draft_sheet(job=job or make_job(catalogue.customer, cast.planner), by=cast.planner, at=now())
    for number in range(1, terminations + 1):
        plan_termination(sheet=sheet, stated=stated(catalogue, **({"lead": f"L{number}"} | changed)), by=cast.planner, at=now())
    return sheet


@remembered
def in_review(cast: Cast, catalogue: Catalogue, **changed) -> SetupSheet:
    return submit_sheet(sheet=draft(cast, catalogue, **changed), by=cast.planner, at=now())


@remembered
def released(cast: Cast, catalogue: Catalogue, **changed) -> SetupSheet:
    """A sheet in force: drafted by the planner, released by the approver."""
    return release(in_review(cast, catalogue, **changed), cast.approver)


def release(sheet: SetupSheet, by: Person) -> SetupSheet:
    signing = sign(identifier=by.username, secret=PIN, meaning=RELEASED_MEANING, at=now())
    return release_sheet(sheet=sheet, by=by, at=now(), signing=signing, seen_sha256=content_sha256(sheet_content(sheet)))
