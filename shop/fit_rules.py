"""The words of the rules in `shop.fit`, `shop.press_fit` and `shop.use`.

`{name}` is a value the rule compared; every rule passes the same names always.
"""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from shop.wording import RuleText

_FIT = {
    "fit.conductor.csa": RuleText(
        title=_("Conductor size in the terminal"),
        fits=_("Conductor {wires_mm2} mm² lies in the range {low_mm2} to {high_mm2} mm² of terminal {terminal}."),
        misfit=_("Conductor {wires_mm2} mm² ({wires}) lies outside the range {low_mm2} to {high_mm2} mm² of terminal {terminal}."),
        undecidable=_(
            "Whether {wires} fits terminal {terminal} cannot be decided: a conductor size or the terminal's range is not recorded."
        ),
        expected=_("All wires in the barrel together lie in the terminal's conductor range."),
        next_step=_("Pick a terminal for this size, complete the catalogue, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.conductor.count": RuleText(
        title=_("Number of wires in the barrel"),
        fits=_("Wires in the barrel: {count}. Terminal {terminal} permits {at_most}."),
        misfit=_("Wires in the barrel: {count}. Terminal {terminal} permits {at_most}."),
        undecidable=_("How many wires terminal {terminal} permits in its barrel is not recorded; the plan has {count}."),
        expected=_("No more wires than the terminal permits."),
        next_step=_("Divide the wires over two terminals, pick a terminal that permits as many, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.insulation.od": RuleText(
        title=_("Insulation diameter in the support"),
        fits=_("Insulation diameter {od_mm} mm ({od_of}) lies in the support's range {low_mm} to {high_mm} mm of terminal {terminal}."),
        misfit=_(
            "Insulation diameter {od_mm} mm ({od_of}) lies outside the support's range {low_mm} to {high_mm} mm of terminal {terminal}."
        ),
        undecidable=_(
            "Whether the insulation of {wires} fits the support of terminal {terminal}, {low_mm} to {high_mm} mm, cannot be decided: "
            "{od_mm} mm ({od_of})."
        ),
        expected=_("The insulation lies in the range of the terminal's insulation support."),
        next_step=_("Pick another wire or terminal, measure the wires together, complete the catalogue, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.insulation.support": RuleText(
        title=_("Insulation support used"),
        fits=_("The insulation support of terminal {terminal} is used as intended."),
        misfit=_("The plan leaves the insulation support of terminal {terminal} open."),
        undecidable=_("Whether terminal {terminal} has an insulation support is not recorded."),
        expected=_("Insulation stays unsupported only where the terminal has no support."),
        next_step=_("Plan the insulation crimp, pick a terminal without support, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.conductor.kind": RuleText(
        title=_("Kind of conductor"),
        fits=_("Terminal {terminal} takes a {found} conductor."),
        misfit=_("The conductor of {wires} is {found}; terminal {terminal} takes: {accepted}."),
        undecidable=_(
            "Whether terminal {terminal} takes the conductor of {wires} cannot be decided: {found}; the terminal takes: {accepted}."
        ),
        expected=_("Solid wire and very fine strands only where the terminal is made for them."),
        next_step=_("Pick a terminal made for this conductor, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.conductor.material": RuleText(
        title=_("Conductor material"),
        fits=_("Terminal {terminal} takes a conductor of {found}."),
        misfit=_("The conductor of {wires} is of {found}; terminal {terminal} takes: {accepted}."),
        undecidable=_(
            "Whether terminal {terminal} takes the material of {wires} cannot be decided: {found}; the terminal takes: {accepted}."
        ),
        expected=_("A conductor material the terminal is made for."),
        next_step=_("Pick a terminal made for this material, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.conductor.dipped": RuleText(
        title=_("No solder-dipped ends"),
        fits=_("The ends of {wires} are not dipped in solder."),
        misfit=_("The end of {wires} is dipped in solder."),
        undecidable=_("Whether the end of {wires} is dipped in solder is not recorded."),
        expected=_("A solder-dipped end is never crimped: solder creeps and the crimp loosens. Tin-plated strands are fine."),
        next_step=_("Cut the end off and strip anew. No concession is possible."),
    ),
    "fit.tool.terminal": RuleText(
        title=_("Terminal on the tool's approved list"),
        fits=_("Terminal {terminal} is on the approved list of tool {tool}."),
        misfit=_("Terminal {terminal} is not on the approved list of tool {tool}."),
        expected=_("A tool with an approved row for this terminal."),
        next_step=_("Pick a tool that lists it, have the row approved, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.tool.csa": RuleText(
        title=_("Conductor size on the tool"),
        fits=_("Conductor {wires_mm2} mm² lies in the row {low_mm2} to {high_mm2} mm² of tool {tool}."),
        misfit=_("Conductor {wires_mm2} mm² lies outside the row {low_mm2} to {high_mm2} mm² of tool {tool}."),
        undecidable=_("Whether the conductor fits tool {tool} cannot be decided: its size or the row's range is not recorded."),
        expected=_("The conductor lies in the approved row of the tool or cavity."),
        next_step=_("Pick another tool or cavity, complete the row, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.tool.od": RuleText(
        title=_("Insulation diameter on the tool"),
        fits=_("Insulation diameter {od_mm} mm ({od_of}) lies in the row {low_mm} to {high_mm} mm of tool {tool}."),
        misfit=_("Insulation diameter {od_mm} mm ({od_of}) lies outside the row {low_mm} to {high_mm} mm of tool {tool}."),
        undecidable=_("Whether the insulation fits tool {tool}, {low_mm} to {high_mm} mm, cannot be decided: {od_mm} mm ({od_of})."),
        expected=_("The insulation lies in the approved row of the tool or cavity."),
        next_step=_("Pick another tool or cavity, complete the row, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.press.mount": RuleText(
        title=_("Tool in the press"),
        fits=_("Tool {tool} asks for mount {tool_mount}, and press {press} has it."),
        misfit=_("Tool {tool} ({kind}) asks for mount {tool_mount}; press {press} has mount {press_mount}."),
        undecidable=_("Whether tool {tool} goes into press {press} cannot be decided: mount {tool_mount} and mount {press_mount}."),
        expected=_("An applicator or die set, and a press with the mount it asks for."),
        next_step=_("Pick a press that takes this tool, complete the tool or the press, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.press.feed": RuleText(
        title=_("Feed of the press"),
        fits=_("Tool {tool} runs with {tool_feed}; press {press} gives {press_feed}."),
        misfit=_("Tool {tool} runs with {tool_feed}; press {press} gives {press_feed}."),
        undecidable=_("Press {press} gives {press_feed}; how strip form runs into tool {tool} is not recorded."),
        expected=_("A press that feeds from the side from which strip form runs into the tool."),
        next_step=_("Pick a press with that feed, complete the tool, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.press.force": RuleText(
        title=_("Force of the press"),
        fits=_("Press {press} is rated {press_n} N; terminal {terminal} needs {terminal_n} N."),
        misfit=_("Press {press} is rated {press_n} N, below the {terminal_n} N terminal {terminal} needs."),
        undecidable=_(
            "Whether press {press} is strong enough for terminal {terminal} cannot be decided: rated {press_n} N, needed {terminal_n} N."
        ),
        expected=_("A force rating not below what the terminal needs."),
        next_step=_("Pick a stronger press, complete the press or the terminal, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.press.shut_height": RuleText(
        title=_("Shut height verified"),
        fits=_("Shut height {press_mm} mm of press {press}, asked {tool_mm} mm ± {tolerance_mm} mm, is verified until {due}."),
        misfit=_(
            "Shut height of press {press}: {press_mm} mm, tool {tool} asks for {tool_mm} mm ± {tolerance_mm} mm; "
            "verified {verified}, due {due}; the day is {day}."
        ),
        undecidable=_(
            "The shut height of press {press} for tool {tool} cannot be decided: {press_mm} mm, asked {tool_mm} mm ± {tolerance_mm} mm, "
            "verified {verified}, due {due}."
        ),
        expected=_("The shut height the tool asks for, within tolerance, and a verification that is not overdue."),
        next_step=_("Have the shut height verified or set, pick another press, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.spec.missing": RuleText(
        title=_("Crimp specification for the combination"),
        fits=_("A crimp specification covers terminal {terminal} with conductor {wires_mm2} mm²."),
        misfit=_("No crimp specification covers terminal {terminal} with conductor {wires_mm2} mm² and tool kind {tool_kind}."),
        undecidable=_("Which crimp specification covers terminal {terminal} cannot be decided: a conductor size is not recorded."),
        expected=_("A specification in force for terminal, conductor and kind of tool."),
        next_step=_("Enter the specification from its source document, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.spec.not_in_force": RuleText(
        title=_("Specification in force"),
        fits=_("Specification {specification} rev {revision} is in force."),
        misfit=_("Specification {specification} rev {revision} is not in force."),
        expected=_("A revision in force."),
        next_step=_("Take the revision in force, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.spec.document_withdrawn": RuleText(
        title=_("Document behind the specification"),
        fits=_("Document {document} rev {document_revision}, the source of specification {specification}, is in force."),
        misfit=_(
            "Document {document} rev {document_revision}, the source of specification {specification} rev {revision}, is not in force."
        ),
        expected=_("A sheet is released only on a document in force."),
        next_step=_("Enter the specification anew from the document in force, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.spec.incomplete": RuleText(
        title=_("Specification complete"),
        fits=_("Specification {specification} rev {revision} states everything a crimp is judged by."),
        misfit=_("Specification {specification} rev {revision} does not state: {lacking}."),
        expected=_("Crimp height with its limits, strip length, least pull force and source document."),
        next_step=_("Complete it in a new revision, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.rating.temperature": RuleText(
        title=_("Temperature rating of the wire"),
        fits=_("Wire {wire} is rated {wire_c} °C; the circuit asks for {circuit_c} °C."),
        misfit=_("Wire {wire} is rated {wire_c} °C, below the {circuit_c} °C the circuit asks for."),
        undecidable=_("The circuit asks for {circuit_c} °C; the temperature rating of wire {wire} is not recorded."),
        expected=_("A wire rated at least as high as the circuit asks."),
        next_step=_("Pick a wire of a higher rating, complete the catalogue, or ask quality for a concession."),
        concedable=True,
    ),
    "fit.rating.voltage": RuleText(
        title=_("Voltage rating of the wire"),
        fits=_("Wire {wire} is rated {wire_v} V; the circuit asks for {circuit_v} V."),
        misfit=_("Wire {wire} is rated {wire_v} V, below the {circuit_v} V the circuit asks for."),
        undecidable=_("The circuit asks for {circuit_v} V; the voltage rating of wire {wire} is not recorded."),
        expected=_("A wire rated at least as high as the circuit asks."),
        next_step=_("Pick a wire of a higher rating, complete the catalogue, or ask quality for a concession."),
        concedable=True,
    ),
}

_USE = {
    "use.tool.state": RuleText(
        title=_("Tool available"),
        fits=_("Tool {tool} is available."),
        misfit=_("Tool {tool} is not available: {state}."),
        expected=_("A tool that is available and not on hold."),
        next_step=_("Take another tool, have the tool crib free this one, or ask quality for a concession."),
        concedable=True,
    ),
    "use.tool.service_count": RuleText(
        title=_("Tool service by crimps"),
        fits=_("Tool {tool} stands at {count} crimps; service is due at {due_count}."),
        misfit=_("Tool {tool} stands at {count} crimps, past the service due at {due_count}."),
        undecidable=_("Service of tool {tool} is due at {due_count} crimps; its counter is not recorded."),
        expected=_("A tool whose service is not overdue."),
        next_step=_("Have the tool crib service it, take another tool, or ask quality for a concession."),
        concedable=True,
    ),
    "use.tool.service_date": RuleText(
        title=_("Tool service by date"),
        fits=_("Service of tool {tool} is due on {due}."),
        misfit=_("Service of tool {tool} was due on {due}; today is {day}."),
        undecidable=_("No service plan is recorded for tool {tool}, neither by crimps nor by date."),
        expected=_("A tool whose service is not overdue."),
        next_step=_("Have the tool crib service it and record the plan, take another tool, or ask quality for a concession."),
        concedable=True,
    ),
    "use.tool.verification": RuleText(
        title=_("Tool verified"),
        fits=_("The verification of tool {tool} runs to {due}."),
        misfit=_("The verification of tool {tool} ended on {due}; today is {day}."),
        undecidable=_("No verification of tool {tool} is recorded."),
        expected=_("A tool in verification on the day of use."),
        next_step=_("Have it verified, take another tool, or ask quality for a concession."),
        concedable=True,
    ),
    "use.tool.verification_count": RuleText(
        title=_("Tool verification by crimps"),
        fits=_("Tool {tool} stands at {count} crimps; verification is due at {due_count}."),
        misfit=_("Tool {tool} stands at {count} crimps, past the verification due at {due_count}."),
        undecidable=_("Verification of tool {tool} is due at {due_count} crimps; its counter is not recorded."),
        expected=_("A tool whose verification is not overdue."),
        next_step=_("Have it verified, take another tool, or ask quality for a concession."),
        concedable=True,
    ),
    "use.press.state": RuleText(
        title=_("Press available"),
        fits=_("Press {press} is available."),
        misfit=_("Press {press} is not available: {state}."),
        expected=_("A press that is available and not on hold."),
        next_step=_("Take another press, have the tool crib free this one, or ask quality for a concession."),
        concedable=True,
    ),
    "use.lot.state": RuleText(
        title=_("Material lot released"),
        fits=_("Lot {lot} is released."),
        misfit=_("Lot {lot} may not be used: {state}."),
        expected=_("A lot that was received and released and is not on hold."),
        next_step=_("Put it back, take a released lot, or ask quality for a concession."),
        concedable=True,
    ),
    "use.lot.part": RuleText(
        title=_("Right part in the lot"),
        fits=_("Lot {lot} is {part}, as the sheet says."),
        misfit=_("Lot {lot} is {part}; the sheet asks for {expected}."),
        expected=_("A lot of the part on the sheet."),
        next_step=_("Put it back and scan a lot of the right part, or ask quality for a concession."),
        concedable=True,
    ),
    "use.lot.shelf_life": RuleText(
        title=_("Shelf life"),
        fits=_("Lot {lot} may be used until {until}."),
        misfit=_("The shelf life of lot {lot} ended on {until}; today is {day}."),
        expected=_("A lot within its shelf life."),
        next_step=_("Take a newer lot, or ask quality for a concession."),
        concedable=True,
    ),
    "use.gauge.state": RuleText(
        title=_("Gauge available"),
        fits=_("Gauge {gauge} is available."),
        misfit=_("Gauge {gauge} may not be used: {state}."),
        expected=_("A gauge that is available and not on hold."),
        next_step=_("Take another gauge. No concession is possible."),
    ),
    "use.gauge.kind": RuleText(
        title=_("Kind of gauge"),
        fits=_("Gauge {gauge} is a {kind}, as the characteristic asks."),
        misfit=_("Gauge {gauge} is a {kind}; the characteristic asks for a {expected}."),
        expected=_("The kind of gauge the inspection plan names."),
        next_step=_("Take a gauge of that kind. No concession is possible."),
    ),
    "use.gauge.calibration": RuleText(
        title=_("Gauge in calibration"),
        fits=_("Gauge {gauge} was calibrated on {calibrated}, {result}, and is due on {due}."),
        misfit=_("Gauge {gauge} is not in calibration on {day}: calibrated {calibrated}, {result}, due {due}."),
        undecidable=_("Whether gauge {gauge} is in calibration on {day} cannot be decided: its calibration is not fully recorded."),
        expected=_("A gauge in calibration at the moment of use."),
        next_step=_("Take another gauge and send this one to calibration. No concession is possible."),
    ),
    "use.gauge.resolution": RuleText(
        title=_("Gauge fine enough"),
        fits=_("Gauge {gauge} resolves {resolution}, at most a tenth of the tolerance {tolerance}."),
        misfit=_("Gauge {gauge} resolves {resolution}, more than a tenth of the tolerance {tolerance}."),
        undecidable=_("The resolution of gauge {gauge} is not recorded; the tolerance is {tolerance}."),
        expected=_("A resolution of at most a tenth of the total tolerance."),
        next_step=_("Take a finer gauge. No concession is possible."),
    ),
    "use.person.qualification": RuleText(
        title=_("Qualified person"),
        fits=_("{person} is qualified for {process} ({tool_kind}) on {day}."),
        misfit=_("{person} holds no current qualification for {process} ({tool_kind}) on {day}; last day: {expired}."),
        expected=_("A qualification for this process and kind of tool that has not expired."),
        next_step=_("Have a qualified person do it, or train and examine first. No concession is possible."),
    ),
}

FIT_RULES: dict[str, RuleText] = {**_FIT, **_USE}
