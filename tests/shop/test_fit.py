import inspect
import re
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from string import Formatter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop import fit, press_fit, use
from shop.finding import Verdict
from shop.fit import (
    CircuitFacts,
    SpecificationFacts,
    TerminalFacts,
    ToolRowFacts,
    WireFacts,
    rating,
    specification_for,
    termination_findings,
    tool_for,
    wire_in_terminal,
)
from shop.fit_rules import FIT_RULES
from shop.press_fit import NO_FEED, PressFacts, PressToolFacts
from shop.use import (
    GaugeStateFacts,
    LotStateFacts,
    QualificationFacts,
    ToolStateFacts,
    gauge_use,
    lot_use,
    person_use,
    press_use,
    tool_use,
)

FITS, MISFIT, OPEN = Verdict.FITS, Verdict.MISFIT, Verdict.UNDECIDABLE
DAY = date(2026, 3, 2)

WIRE = WireFacts("W-075-RD", Decimal("0.75"), Decimal("1.9"), temperature_c=105, voltage_v=600)
TERMINAL = TerminalFacts("T-250-F", Decimal("0.5"), Decimal("1.0"), wires_max=2, od_min_mm=Decimal("1.5"), od_max_mm=Decimal("3.0"))
ROW = ToolRowFacts("AP-031", "T-250-F", Decimal("0.5"), Decimal("1.0"), Decimal("1.5"), Decimal("3.0"), "B4")
SPEC = SpecificationFacts(
    "CS-12",
    "C",
    "T-250-F",
    Decimal("0.5"),
    Decimal("1.0"),
    in_force=True,
    document="AS-250",
    document_revision="7",
    document_in_force=True,
    crimp_height_min_mm=Decimal("1.35"),
    crimp_height_nominal_mm=Decimal("1.40"),
    crimp_height_max_mm=Decimal("1.45"),
    strip_length_min_mm=Decimal("4.0"),
    strip_length_max_mm=Decimal("4.5"),
    pull_force_min_n=Decimal("85"),
)
TOOL = ToolStateFacts("AP-031", "available", 1000, 5000, DAY, DAY, 5000)
LOT = LotStateFacts("L-77", "W-075-RD", "released", DAY)
GAUGE = GaugeStateFacts("G-04", "crimp-height micrometer", "available", Decimal("0.001"), DAY, DAY, in_tolerance=True)
PRESS = PressFacts("PR-02", "ML-30", "side feed", Decimal(20000), Decimal("135.78"), Decimal("0.03"), DAY, DAY)
APPLICATOR = PressToolFacts("AP-031", "applicator", "ml-30", "side feed", Decimal("135.80"))
CRIMPING = QualificationFacts("crimp", "applicator", DAY, DAY)


def planned(wires=(WIRE,), terminal=TERMINAL, rows=(ROW,), specs=(SPEC,), circuit=None, **more):
    asked = circuit or CircuitFacts(105, 600)
    return termination_findings(wires, terminal, rows_of_tool=rows, specifications=specs, circuit=asked, tool="AP-031", **more)


def pressed(press=PRESS, tool=APPLICATOR, needed=Decimal(18000)):
    return press_fit.press_fit(press, tool, "T-250-F", needed, DAY)


def used(tool=TOOL, lot=LOT, gauge=GAUGE, held=(CRIMPING,), kind="crimp-height micrometer", press_state="available"):
    return (
        *tool_use(tool, DAY),
        *lot_use(lot, "W-075-RD", DAY),
        *gauge_use(gauge, Decimal("0.10"), DAY, expected_kind=kind),
        *person_use(held, "crimp", "applicator", DAY, person="Ada"),
        press_use("PR-02", press_state),
    )


def wire(**changes):
    return planned(wires=(replace(WIRE, **changes),))


def terminal(**changes):
    return planned(terminal=replace(TERMINAL, **changes))


def row(**changes):
    return planned(rows=(replace(ROW, **changes),))


def spec(**changes):
    return planned(specs=(replace(SPEC, **changes),))


YESTERDAY, TOMORROW = DAY - timedelta(1), DAY + timedelta(1)

# Each rule: kept by everything above; broken, or left open, by the one change beside it.
CASES = [
    ("fit.conductor.csa", MISFIT, lambda: wire(csa_mm2=Decimal("0.49"))),
    ("fit.conductor.csa", MISFIT, lambda: wire(csa_mm2=Decimal("1.01"))),
    ("fit.conductor.csa", MISFIT, lambda: terminal(csa_min_mm2=None, csa_max_mm2=Decimal("0.7"))),
    ("fit.conductor.csa", OPEN, lambda: wire(csa_mm2=None)),
    ("fit.conductor.csa", OPEN, lambda: terminal(csa_max_mm2=None)),
    ("fit.conductor.count", MISFIT, lambda: planned(wires=(WIRE,) * 3)),
    ("fit.conductor.count", OPEN, lambda: planned(wires=(WIRE,) * 2, terminal=replace(TERMINAL, wires_max=None))),
    ("fit.insulation.od", MISFIT, lambda: wire(od_mm=Decimal("3.01"))),
    ("fit.insulation.od", MISFIT, lambda: wire(od_mm=Decimal("1.49"))),
    ("fit.insulation.od", OPEN, lambda: wire(od_mm=None)),
    ("fit.insulation.od", OPEN, lambda: terminal(od_min_mm=None)),
    ("fit.insulation.support", MISFIT, lambda: planned(support_open=True)),
    ("fit.insulation.support", OPEN, lambda: terminal(has_support=None)),
    ("fit.conductor.kind", MISFIT, lambda: wire(kind="solid")),
    ("fit.conductor.kind", MISFIT, lambda: wire(kind="fine stranded")),
    ("fit.conductor.kind", OPEN, lambda: wire(kind=None)),
    ("fit.conductor.kind", OPEN, lambda: terminal(accepted_kinds=frozenset())),
    ("fit.conductor.material", MISFIT, lambda: wire(material="aluminium")),
    ("fit.conductor.material", OPEN, lambda: wire(material=None)),
    ("fit.conductor.dipped", MISFIT, lambda: wire(dipped_end=True)),
    ("fit.conductor.dipped", OPEN, lambda: wire(dipped_end=None)),
    ("fit.tool.terminal", MISFIT, lambda: row(terminal="T-187-F")),
    ("fit.tool.terminal", MISFIT, lambda: planned(rows=())),
    ("fit.tool.csa", MISFIT, lambda: row(csa_min_mm2=Decimal("0.8"))),
    ("fit.tool.csa", OPEN, lambda: row(csa_min_mm2=None)),
    ("fit.tool.od", MISFIT, lambda: row(od_max_mm=Decimal("1.8"))),
    ("fit.tool.od", OPEN, lambda: row(od_min_mm=None, od_max_mm=None)),
    ("fit.press.mount", MISFIT, lambda: pressed(replace(PRESS, mount="ML-40"))),
    ("fit.press.mount", MISFIT, lambda: pressed(tool=replace(APPLICATOR, kind="hand tool"))),
    ("fit.press.mount", OPEN, lambda: pressed(replace(PRESS, mount=""))),
    ("fit.press.mount", OPEN, lambda: pressed(tool=replace(APPLICATOR, mount=""))),
    ("fit.press.feed", MISFIT, lambda: pressed(replace(PRESS, feed="end feed"))),
    ("fit.press.feed", OPEN, lambda: pressed(tool=replace(APPLICATOR, feed=""))),
    ("fit.press.force", MISFIT, lambda: pressed(needed=Decimal("20000.01"))),
    ("fit.press.force", OPEN, lambda: pressed(needed=None)),
    ("fit.press.force", OPEN, lambda: pressed(replace(PRESS, force_rating_n=None))),
    ("fit.press.shut_height", MISFIT, lambda: pressed(replace(PRESS, shut_height_mm=Decimal("135.76")))),
    ("fit.press.shut_height", MISFIT, lambda: pressed(tool=replace(APPLICATOR, shut_height_mm=Decimal("135.74")))),
    ("fit.press.shut_height", MISFIT, lambda: pressed(replace(PRESS, shut_height_due_on=YESTERDAY))),
    ("fit.press.shut_height", MISFIT, lambda: pressed(replace(PRESS, shut_height_verified_on=TOMORROW))),
    ("fit.press.shut_height", MISFIT, lambda: pressed(replace(PRESS, shut_height_mm=None, shut_height_due_on=YESTERDAY))),
    ("fit.press.shut_height", OPEN, lambda: pressed(replace(PRESS, shut_height_tolerance_mm=None))),
    ("fit.press.shut_height", OPEN, lambda: pressed(replace(PRESS, shut_height_verified_on=None, shut_height_due_on=None))),
    ("use.press.state", MISFIT, lambda: used(press_state="on hold")),
    ("fit.spec.missing", MISFIT, lambda: planned(specs=())),
    ("fit.spec.missing", MISFIT, lambda: spec(csa_max_mm2=Decimal("0.74"))),
    ("fit.spec.missing", MISFIT, lambda: planned(specs=(replace(SPEC, tool_kind="hand tool"),), tool_kind="applicator")),
    ("fit.spec.missing", OPEN, lambda: wire(csa_mm2=None)),
    ("fit.spec.not_in_force", MISFIT, lambda: spec(in_force=False)),
    ("fit.spec.document_withdrawn", MISFIT, lambda: spec(document_in_force=False)),
    ("fit.spec.incomplete", MISFIT, lambda: spec(pull_force_min_n=None)),
    ("fit.rating.temperature", MISFIT, lambda: wire(temperature_c=104)),
    ("fit.rating.temperature", OPEN, lambda: wire(temperature_c=None)),
    ("fit.rating.voltage", MISFIT, lambda: wire(voltage_v=300)),
    ("fit.rating.voltage", OPEN, lambda: wire(voltage_v=None)),
    ("use.tool.state", MISFIT, lambda: used(tool=replace(TOOL, state="on hold"))),
    ("use.tool.service_count", MISFIT, lambda: used(tool=replace(TOOL, crimp_count=5001))),
    ("use.tool.service_count", OPEN, lambda: used(tool=replace(TOOL, crimp_count=None))),
    ("use.tool.service_date", MISFIT, lambda: used(tool=replace(TOOL, service_due_on=YESTERDAY))),
    ("use.tool.service_date", OPEN, lambda: used(tool=replace(TOOL, service_due_on=None, service_due_count=None))),
    ("use.tool.verification", MISFIT, lambda: used(tool=replace(TOOL, verification_due_on=YESTERDAY))),
    ("use.tool.verification", OPEN, lambda: used(tool=replace(TOOL, verification_due_on=None))),
    ("use.tool.verification_count", MISFIT, lambda: used(tool=replace(TOOL, crimp_count=5001))),
    ("use.tool.verification_count", OPEN, lambda: used(tool=replace(TOOL, crimp_count=None))),
    ("use.lot.state", MISFIT, lambda: used(lot=replace(LOT, state="received"))),
    ("use.lot.part", MISFIT, lambda: used(lot=replace(LOT, part_number="W-075-BK"))),
    ("use.lot.shelf_life", MISFIT, lambda: used(lot=replace(LOT, usable_until=YESTERDAY))),
    ("use.gauge.state", MISFIT, lambda: used(gauge=replace(GAUGE, state="on hold"))),
    ("use.gauge.kind", MISFIT, lambda: used(gauge=replace(GAUGE, kind="caliper"))),
    ("use.gauge.calibration", MISFIT, lambda: used(gauge=replace(GAUGE, due_on=YESTERDAY))),
    ("use.gauge.calibration", MISFIT, lambda: used(gauge=replace(GAUGE, calibrated_on=TOMORROW))),
    ("use.gauge.calibration", MISFIT, lambda: used(gauge=replace(GAUGE, in_tolerance=False))),
    ("use.gauge.calibration", OPEN, lambda: used(gauge=replace(GAUGE, calibrated_on=None, due_on=None, in_tolerance=None))),
    ("use.gauge.resolution", MISFIT, lambda: used(gauge=replace(GAUGE, resolution=Decimal("0.0101")))),
    ("use.gauge.resolution", OPEN, lambda: used(gauge=replace(GAUGE, resolution=None))),
    ("use.person.qualification", MISFIT, lambda: used(held=())),
    ("use.person.qualification", MISFIT, lambda: used(held=(replace(CRIMPING, expires_on=YESTERDAY),))),
    ("use.person.qualification", MISFIT, lambda: used(held=(replace(CRIMPING, granted_on=TOMORROW, expires_on=None),))),
    ("use.person.qualification", MISFIT, lambda: used(held=(replace(CRIMPING, withdrawn_on=DAY),))),
    ("use.person.qualification", MISFIT, lambda: used(held=(replace(CRIMPING, tool_kind="hand tool"),))),
    ("use.person.qualification", MISFIT, lambda: used(held=(replace(CRIMPING, process="inspect"),))),
]


def by_rule(findings):
    assert len({f.rule for f in findings}) == len(findings)
    return {f.rule: f for f in findings}


def test_good_combination_keeps_every_rule():
    found = by_rule((*planned(), *pressed(), *used()))
    assert set(found) == set(FIT_RULES)
    assert {f.verdict for f in found.values()} == {FITS}


@pytest.mark.parametrize(("rule", "verdict", "act"), CASES, ids=[f"{rule}-{verdict}-{n}" for n, (rule, verdict, _) in enumerate(CASES)])
def test_rule_is_broken_or_left_open_by_its_own_fact(rule, verdict, act):
    found = by_rule(act())
    assert found[rule].verdict is verdict
    assert found[rule].blocks


def test_every_rule_has_a_broken_case():
    assert {rule for rule, verdict, _ in CASES if verdict is MISFIT} == set(FIT_RULES)


def test_every_code_in_the_rules_is_worded_and_no_other():
    source = inspect.getsource(fit) + inspect.getsource(press_fit) + inspect.getsource(use)
    assert set(re.findall(r'"((?:fit|use)\.[a-z_]+\.[a-z_]+)"', source)) == set(FIT_RULES)


def placeholders(text):
    return {name for _, name, _, _ in Formatter().parse(str(text)) if name}


@pytest.mark.parametrize("act", [lambda: (*planned(), *pressed(), *used()), *(case[2] for case in CASES)])
def test_every_placeholder_of_a_wording_is_compared(act):
    for finding in act():
        text = FIT_RULES[finding.rule]
        asked = {FITS: text.fits, OPEN: text.undecidable or text.misfit}.get(finding.verdict, text.misfit)
        needed = placeholders(asked)
        if finding.blocks:
            needed |= placeholders(text.expected) | placeholders(text.next_step)
        assert needed <= set(finding.compared), finding.rule
        assert str(asked)


def test_refusals_say_what_is_expected_and_what_to_do():
    for rule, text in FIT_RULES.items():
        assert str(text.title), rule
        assert str(text.fits), rule
        assert str(text.expected), rule
        assert str(text.next_step), rule
        assert "!" not in f"{text.misfit}{text.expected}{text.next_step}"


def test_only_dipped_ends_gauges_and_people_can_never_be_conceded():
    never = {rule for rule, text in FIT_RULES.items() if not text.concedable}
    assert never == {
        "fit.conductor.dipped",
        "use.person.qualification",
        "use.gauge.state",
        "use.gauge.kind",
        "use.gauge.calibration",
        "use.gauge.resolution",
    }
    for rule in never:
        assert "No concession is possible." in str(FIT_RULES[rule].next_step)


def test_three_wires_of_a_tenth_fit_a_barrel_that_ends_at_three_tenths():
    small = replace(WIRE, csa_mm2=Decimal("0.1"), od_mm=Decimal("0.9"))
    barrel = replace(TERMINAL, csa_min_mm2=Decimal("0.2"), csa_max_mm2=Decimal("0.3"), wires_max=3)
    finding = by_rule(wire_in_terminal([small] * 3, barrel))["fit.conductor.csa"]
    assert finding.verdict is FITS
    assert finding.compared["wires_mm2"] == Decimal("0.3")


@pytest.mark.parametrize("edge", ["0.5", "1.0"])
def test_limits_of_a_range_are_inside(edge):
    assert by_rule(wire(csa_mm2=Decimal(edge)))["fit.conductor.csa"].verdict is FITS
    assert by_rule(row(csa_min_mm2=Decimal("0.75"), csa_max_mm2=Decimal("0.75")))["fit.tool.csa"].verdict is FITS


@given(st.decimals("0.01", "9", places=3), st.decimals("0.01", "9", places=3), st.decimals("0.01", "9", places=3))
def test_conductor_fits_exactly_when_it_lies_between_the_limits(csa, one, other):
    low, high = sorted((one, other))
    finding = by_rule(wire_in_terminal([replace(WIRE, csa_mm2=csa)], replace(TERMINAL, csa_min_mm2=low, csa_max_mm2=high)))
    assert (finding["fit.conductor.csa"].verdict is FITS) == (low <= csa <= high)


@pytest.mark.parametrize(
    ("rule", "ods", "high", "verdict", "od", "taken"),
    [
        ("circle", ("1.2", "1.2"), "2.4", FITS, "2.4", "circle around the wires"),
        ("circle", ("1.2", "1.2"), "2.39", MISFIT, "2.4", "circle around the wires"),
        (None, ("1.2", "1.2"), "2.4", FITS, "2.4", "circle around the wires, an estimate"),
        ("sum", ("1.0", "1.2", "0.5"), "2.7", FITS, "2.7", "sum of the wires"),
        ("sum", ("1.0", "1.2", "0.6"), "2.7", MISFIT, "2.8", "sum of the wires"),
        ("each", ("1.6", "1.9"), "1.9", FITS, "1.9", "each wire"),
        ("each", ("1.6", "2.0"), "1.9", MISFIT, "2.0", "each wire"),
        ("each", ("1.4", "1.6"), "1.9", MISFIT, "1.4", "each wire"),
        (None, ("1.2", "1.2", "1.0", "1.1"), "2.3", MISFIT, None, "circle around the wires, an estimate"),
    ],
)
def test_several_wires_follow_the_terminals_rule_else_an_estimated_circle(rule, ods, high, verdict, od, taken):
    several = [replace(WIRE, od_mm=Decimal(o)) for o in ods]
    support = replace(TERMINAL, wires_max=4, several_wires_od_rule=rule, od_max_mm=Decimal(high))
    finding = by_rule(wire_in_terminal(several, support))["fit.insulation.od"]
    assert (finding.verdict, finding.compared["od_of"]) == (verdict, taken)
    if od:
        assert finding.compared["od_mm"] == Decimal(od)


def test_estimate_that_straddles_the_limit_stays_open():
    several = [replace(WIRE, od_mm=Decimal(o)) for o in ("1.2", "1.2", "1.2", "1.0")]  # at least 2.4, at most about 2.9
    finding = by_rule(wire_in_terminal(several, replace(TERMINAL, od_max_mm=Decimal("2.6"))))["fit.insulation.od"]
    assert finding.verdict is OPEN
    assert finding.compared["od_mm"] > Decimal("2.6")


def test_terminal_without_support_is_not_asked_for_an_insulation_range():
    bare = replace(TERMINAL, has_support=False, od_min_mm=None, od_max_mm=None)
    found = by_rule(planned(terminal=bare, rows=(replace(ROW, od_min_mm=None, od_max_mm=None),), support_open=True))
    assert "fit.insulation.od" not in found
    assert "fit.tool.od" not in found
    assert found["fit.insulation.support"].verdict is FITS


def test_misfit_names_the_wires_that_are_out():
    solid = replace(WIRE, part_number="W-SOLID", kind="solid")
    finding = by_rule(wire_in_terminal([WIRE, solid], TERMINAL))["fit.conductor.kind"]
    assert finding.compared == {"wires": "W-SOLID", "found": "solid", "accepted": "stranded", "terminal": "T-250-F"}


def test_barrel_without_a_wire_is_a_defect():
    for act in (wire_in_terminal, lambda w, t: tool_for(w, t, [ROW]), lambda w, t: specification_for(w, t, [SPEC])):
        with pytest.raises(ValueError, match="at least one wire"):
            act([], TERMINAL)


def test_tool_offers_the_narrowest_row_that_fits():
    wide = replace(ROW, csa_min_mm2=Decimal("0.2"), csa_max_mm2=Decimal("2.5"), setting="wide")
    other = replace(ROW, terminal="T-187-F", csa_min_mm2=Decimal("0.7"), csa_max_mm2=Decimal("0.8"), setting="other")
    found = tool_for([WIRE], TERMINAL, [other, wide, ROW])
    assert (found.row, found.others) == (ROW, (wide,))
    assert {f.verdict for f in found.findings} == {FITS}


def test_tool_without_a_fitting_row_answers_with_the_nearest():
    far = replace(ROW, csa_min_mm2=Decimal("2.5"), csa_max_mm2=Decimal("4"), od_min_mm=Decimal("3"), od_max_mm=Decimal("5"))
    near = replace(ROW, csa_min_mm2=Decimal("1.0"), csa_max_mm2=Decimal("2.5"))
    found = tool_for([WIRE], TERMINAL, [far, near])
    assert found.row is None
    misfits = [f for f in found.findings if f.blocks]
    assert [(f.rule, f.compared["low_mm2"]) for f in misfits] == [("fit.tool.csa", Decimal("1.0"))]


def test_tool_without_the_terminal_names_tool_and_terminal():
    found = tool_for([WIRE], TERMINAL, [replace(ROW, terminal="T-187-F")])
    assert found.row is None
    assert found.findings[0].compared == {"tool": "AP-031", "terminal": "T-250-F"}


def test_specification_in_force_is_taken_before_a_withdrawn_narrower_one():
    old = replace(SPEC, number="CS-11", in_force=False, csa_min_mm2=Decimal("0.75"), csa_max_mm2=Decimal("0.75"))
    own = replace(SPEC, number="CS-13", tool_kind="applicator")
    assert specification_for([WIRE], TERMINAL, [old, SPEC]).specification is SPEC
    assert specification_for([WIRE], TERMINAL, [SPEC, own], "applicator").specification is own
    assert specification_for([WIRE], TERMINAL, [SPEC, own], "hand tool").specification is SPEC


def test_incomplete_specification_says_what_it_lacks():
    finding = by_rule(spec(pull_force_min_n=None, strip_length_max_mm=None))["fit.spec.incomplete"]
    assert finding.compared["lacking"] == "strip length to, pull force"


def test_rating_is_judged_by_the_weakest_wire_and_only_where_the_circuit_asks():
    weak = replace(WIRE, part_number="W-WEAK", temperature_c=90)
    unknown = replace(WIRE, part_number="W-OPEN", temperature_c=None)
    (finding,) = rating([WIRE, unknown, weak], CircuitFacts(temperature_c=105))
    assert (finding.rule, finding.verdict, finding.compared["wire"]) == ("fit.rating.temperature", MISFIT, "W-WEAK")
    (finding,) = rating([WIRE, unknown], CircuitFacts(temperature_c=105))
    assert (finding.verdict, finding.compared["wire"]) == (OPEN, "W-OPEN")
    assert rating([unknown], CircuitFacts()) == ()


def test_press_that_takes_any_feed_and_a_tool_without_feed_need_no_data():
    assert by_rule(pressed(replace(PRESS, feed=""), replace(APPLICATOR, feed="")))["fit.press.feed"].verdict is FITS
    assert by_rule(pressed(tool=replace(APPLICATOR, feed=NO_FEED)))["fit.press.feed"].verdict is FITS


def test_tool_for_the_hand_is_told_once_that_it_goes_into_no_press():
    assert [f.rule for f in pressed(tool=PressToolFacts("HT-7", "hand tool"))] == ["fit.press.mount"]


@given(st.decimals("130", "140", places=2), st.decimals("130", "140", places=2), st.decimals("0", "2", places=2))
def test_shut_height_fits_exactly_within_the_tolerance_whichever_is_larger(press, tool, tolerance):
    def judged(one, other):
        held = replace(PRESS, shut_height_mm=one, shut_height_tolerance_mm=tolerance)
        return by_rule(pressed(held, replace(APPLICATOR, shut_height_mm=other)))["fit.press.shut_height"].verdict

    assert judged(press, tool) is judged(tool, press)
    assert (judged(press, tool) is FITS) == (press - tolerance <= tool <= press + tolerance)


def test_due_days_are_the_last_good_days():
    assert all(not f.blocks for f in used())
    late = by_rule((*tool_use(TOOL, TOMORROW), *lot_use(LOT, "W-075-RD", TOMORROW), *gauge_use(GAUGE, None, TOMORROW)))
    assert {rule for rule, f in late.items() if f.blocks} == {
        "use.tool.verification",
        "use.tool.service_date",
        "use.lot.shelf_life",
        "use.gauge.calibration",
    }


def test_service_plan_by_crimps_alone_is_a_plan():
    found = by_rule(tool_use(replace(TOOL, service_due_on=None, crimp_count=5000), DAY))
    assert "use.tool.service_date" not in found
    assert found["use.tool.service_count"].verdict is FITS


def test_gauge_resolution_of_exactly_a_tenth_is_fine_enough():
    assert by_rule(gauge_use(replace(GAUGE, resolution=Decimal("0.01")), Decimal("0.1"), DAY))["use.gauge.resolution"].verdict is FITS
    assert "use.gauge.resolution" not in by_rule(gauge_use(replace(GAUGE, resolution=None), None, DAY))


def test_qualification_for_any_tool_and_without_expiry_counts():
    assert not person_use([replace(CRIMPING, tool_kind="", expires_on=None)], "crimp", "hand tool", DAY)[0].blocks
    assert not person_use([QualificationFacts("inspect", None, DAY, DAY)], "inspect", None, DAY)[0].blocks


def test_expired_qualification_tells_its_last_day():
    (finding,) = person_use(
        [replace(CRIMPING, granted_on=date(2025, 1, 1), expires_on=YESTERDAY)], "crimp", "applicator", DAY, person="Ada"
    )
    assert finding.compared == {
        "person": "Ada",
        "process": "crimp",
        "tool_kind": "applicator",
        "expired": "2026-03-01",
        "day": "2026-03-02",
    }
