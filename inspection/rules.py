"""The words of the rules of making and measuring."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from shop.wording import RuleText

RULES: dict[str, RuleText] = {
    "batch.sheet": RuleText(
        title=_("Setup sheet"),
        fits=_("Sheet {sheet} is in force."),
        misfit=_("Sheet {sheet} is {status}."),
        expected=_("A batch runs on a released sheet only."),
        next_step=_("Ask the planner which revision is in force."),
    ),
    "batch.document": RuleText(
        title=_("Governing document"),
        fits=_("Document {document} is in force."),
        misfit=_("Document {document} behind the crimp specification is not in force."),
        expected=_("A batch does not start on a withdrawn document."),
        next_step=_("Ask the planner for a new revision of the sheet, or quality for a concession."),
        concedable=True,
    ),
    "batch.specification": RuleText(
        title=_("Crimp specification"),
        fits=_("Crimp specification {specification} is in force."),
        misfit=_("Crimp specification {specification} is not in force."),
        expected=_("A batch does not start on a withdrawn specification."),
        next_step=_("Ask the planner for a new revision of the sheet, or quality for a concession."),
        concedable=True,
    ),
    "batch.status": RuleText(
        title=_("Status of the batch"),
        misfit=_("Batch {batch} is at: {status}."),
        expected=_("This belongs to: {needed}."),
        next_step=_("Go on with the step the batch is at."),
    ),
    "batch.quantity": RuleText(
        title=_("Pieces"),
        misfit=_("{quantity} pieces are planned."),
        expected=_("One at least, and not more than the {open} pieces of this termination still to be made."),
        next_step=_("Correct the quantity."),
    ),
    "batch.counts.balance": RuleText(
        title=_("Counts"),
        misfit=_("{made} made is not {good} good + {scrap} scrap + {destroyed} destroyed + {held} held; they add up to {sum}."),
        expected=_("Every piece is accounted for: made = good + scrap + destroyed + held."),
        next_step=_("Count again and correct the numbers."),
    ),
    "batch.counts.destroyed": RuleText(
        title=_("Destroyed samples"),
        misfit=_("{destroyed} destroyed is less than the {tested} pieces that pull tests and cross-sections destroyed."),
        expected=_("Destructive samples are never shipped."),
        next_step=_("Correct the numbers."),
    ),
    "batch.counts.below": RuleText(
        title=_("Counts"),
        misfit=_("{made} made is below the count {last} given before."),
        expected=_("The count only grows."),
        next_step=_("Read the counter again."),
    ),
    "batch.counts.held": RuleText(
        title=_("Held pieces"),
        misfit=_("{held} held is not the {kept} pieces that quality left on hold."),
        next_step=_("Correct the number, or ask quality to decide on them."),
    ),
    "scan.unknown": RuleText(
        title=_("Scan"),
        misfit=_("{code} is not a tool, a reel, a spool or a gauge of this shop."),
        next_step=_("Scan the label again, or ask the tool crib or the store."),
    ),
    "scan.press.other": RuleText(
        title=_("Press on the sheet"),
        fits=_("Press {press} is the one on the sheet."),
        misfit=_("Press {press} is not on the sheet, which names {expected}."),
        expected=_("The press of the released sheet."),
        next_step=_("Put the tool into that press, or ask the planner for a new revision."),
    ),
    "scan.tool.other": RuleText(
        title=_("Tool"),
        fits=_("Tool {tool} is the one on the sheet."),
        misfit=_("Tool {tool} is not the one on the sheet."),
        expected=_("The sheet asks for {expected}."),
        next_step=_("Fetch {expected}, or ask the planner for a new revision of the sheet."),
    ),
    "scan.gauge.kind": RuleText(
        title=_("Gauge"),
        fits=_("{gauge} is a {kind}."),
        misfit=_("{gauge} is a {kind}."),
        expected=_("This sheet needs: {needed}."),
        next_step=_("Scan one of those."),
    ),
    "setup.incomplete": RuleText(
        title=_("Set-up check"),
        misfit=_("Not proven yet: {open}."),
        expected=_("Six parts hold together before the press may run."),
        next_step=_("Scan what is missing."),
    ),
    "sample.state": RuleText(
        title=_("Sample"),
        misfit=_("Sample {sample} is {state}."),
        expected=_("Readings go into a sample that is being measured."),
        next_step=_("Go on with the step the batch is at."),
    ),
    "sample.kind": RuleText(
        title=_("Sample"),
        misfit=_("A sample of kind {kind} does not belong here."),
        next_step=_("Go on with the step the batch is at."),
    ),
    "sample.incomplete": RuleText(
        title=_("Sample"),
        misfit=_("Still missing: {missing}."),
        expected=_("Every value the plan asks for."),
        next_step=_("Measure what is missing."),
    ),
    "sample.countersign.same": RuleText(
        title=_("Second person"),
        misfit=_("{person} made this first piece and cannot countersign it."),
        expected=_("Operator and inspector are two different people."),
        next_step=_("Ask an inspector to come to the press."),
    ),
    "reading.impossible": RuleText(
        title=_("Reading"),
        misfit=_("“{text}” cannot be what a gauge shows."),
        expected=_("From 0 to less than {largest} {unit}."),
        next_step=_("Look at the gauge and type it again."),
    ),
    "reading.gauge": RuleText(
        title=_("Gauge"),
        misfit=_("No {kind} is set up for this batch."),
        next_step=_("Scan the gauge first."),
    ),
    "reading.piece": RuleText(
        title=_("Piece"),
        misfit=_("Piece {piece} of {characteristic} is not in the plan, or has a value already."),
        expected=_("The plan asks for {planned}."),
        next_step=_("To change a value, correct it with a reason."),
    ),
    "reading.correction": RuleText(
        title=_("Correction"),
        misfit=_("A correction needs a reason, and the value must not have been corrected already."),
        next_step=_("Say in a few words why."),
    ),
    "pull.mode": RuleText(
        title=_("Failure mode"),
        misfit=_("{mode} is not a failure mode."),
        expected=_("One of: {modes}."),
        next_step=_("Pick what you see on the pulled piece."),
    ),
    "visual.note": RuleText(
        title=_("Visual finding"),
        misfit=_("A rejected criterion needs a note."),
        next_step=_("Say what you see."),
    ),
    "visual.criterion": RuleText(
        title=_("Visual criterion"),
        misfit=_("{criterion} is not a criterion of this termination, or has an answer already."),
        next_step=_("Answer the criteria shown."),
    ),
    "batch.counts.scrap": RuleText(
        title=_("Scrap"),
        misfit=_("{scrap} scrap is less than the {scrapped} pieces that quality had scrapped."),
        next_step=_("Correct the numbers."),
    ),
    "hold.none": RuleText(title=_("Hold"), misfit=_("Batch {batch} is not on hold."), next_step=_("Look at the batch again.")),
    "hold.reason": RuleText(title=_("Reason"), misfit=_("A decision needs a reason."), next_step=_("Say why in a sentence.")),
    "hold.quantity": RuleText(
        title=_("Suspect pieces"),
        misfit=_("{scrapped} scrapped and {kept} kept on hold are more than the {suspect} suspect pieces."),
        next_step=_("Correct the numbers."),
    ),
    "hold.self": RuleText(
        title=_("Second person"),
        misfit=_("{person} raised this hold by their own sample and cannot decide on it."),
        next_step=_("Ask quality or another inspector."),
    ),
}
