"""The words of the rules of nonconformance and corrective action."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from shop.wording import RuleText

NONCONFORMANCE_RULES: dict[str, RuleText] = {
    "nc.kind": RuleText(
        title=_("Kind of defect"),
        misfit=_("“{kind}” is no kind of defect."),
        expected=_("A visual criterion, a value out of limits, the end of a pull test, or one of the other kinds."),
        next_step=_("Pick one of the list."),
    ),
    "nc.customer": RuleText(
        title=_("Customer"),
        misfit=_("A complaint comes from a customer, and none is named."),
        next_step=_("Pick the customer."),
    ),
    "nc.linked": RuleText(
        title=_("Already recorded"),
        misfit=_("{kind} {name} is in {number} already."),
        expected=_("One finding stands in one nonconformance."),
        next_step=_("Go on there."),
    ),
    "nc.link": RuleText(
        title=_("What it is about"),
        misfit=_("There is no {kind} {name} to point at."),
        next_step=_("Check the number."),
    ),
    "nc.closed": RuleText(
        title=_("State"),
        misfit=_("{number} is closed."),
        expected=_("Nothing is added to a closed nonconformance."),
        next_step=_("Reopen it with a reason first."),
    ),
    "nc.open": RuleText(
        title=_("State"),
        misfit=_("{number} is open."),
        expected=_("Only a closed nonconformance is reopened."),
        next_step=_("Go on with it."),
    ),
    "nc.cause.part": RuleText(
        title=_("Which part failed"),
        misfit=_("The cause names none of the six parts."),
        expected=_("People, wire, terminal, tool, documents or inspection; more than one where they failed together."),
        next_step=_("Tick the part that failed."),
    ),
    "nc.cause.lines": RuleText(
        title=_("Because"),
        misfit=_("{given} lines say why, one below the other."),
        expected=_("At most {most} lines of {length} characters: past that a chain of reasons proves nothing more."),
        next_step=_("Shorten the chain to what can be shown."),
    ),
    "nc.action.due": RuleText(
        title=_("Until when"),
        misfit=_("The day {due} is over already."),
        next_step=_("State a day from today on."),
    ),
    "nc.action.person": RuleText(
        title=_("Who sees to it"),
        misfit=_("The account of {person} is closed."),
        next_step=_("Name somebody who is here."),
    ),
    "nc.action.ended": RuleText(
        title=_("Action"),
        misfit=_("Action {action} is {result} already."),
        next_step=_("State a further action where something is left to do."),
    ),
    "nc.measure.kind": RuleText(
        title=_("Proof that it worked"),
        misfit=_("Nobody looks for “{kind}” at a press, so that its absence cannot be counted."),
        expected=_("Pieces, batches and days are counted from what samples answer."),
        next_step=_("State a proof in words."),
    ),
    "nc.measure.scope": RuleText(
        title=_("Where it is counted"),
        misfit=_("{number} names no {scope}."),
        expected=_("Findings are counted at what the nonconformance names, or anywhere in the shop."),
        next_step=_("Pick another place."),
    ),
    "nc.measure.target": RuleText(
        title=_("How many"),
        misfit=_("This measure needs a number of at least 1."),
        next_step=_("State how many {kind} without a finding prove it."),
    ),
    "nc.measure.until": RuleText(
        title=_("Until when"),
        misfit=_("This measure needs a day that is still ahead."),
        next_step=_("State the last day without a finding."),
    ),
    "nc.effect.none": RuleText(
        title=_("Proof that it worked"),
        misfit=_("Nobody stated yet what would prove that it worked."),
        expected=_("The measure is decided before anybody looks."),
        next_step=_("State the measure first."),
    ),
    "nc.effect.made": RuleText(
        title=_("Proof that it worked"),
        misfit=_("This measure was answered on {day} already."),
        next_step=_("State a new measure after a new action."),
    ),
    "nc.effect.actions": RuleText(
        title=_("Actions"),
        misfit=_("{open} actions are not done yet, and {done} are."),
        expected=_("The effect is looked at after every action has ended and at least one was done."),
        next_step=_("Finish the actions first."),
    ),
    "nc.effect.self": RuleText(
        title=_("Who verifies"),
        misfit=_("{person} did action {action}."),
        expected=_("Somebody else verifies that it worked."),
        next_step=_("Ask a colleague to verify."),
    ),
    "nc.effect.waiting": RuleText(
        title=_("Proof that it worked"),
        misfit=_("The measure is not reached: {pieces} pieces in {batches} batches, looked at {looks} times."),
        expected=_("{expected}"),
        next_step=_("Wait for more, or state another measure and say why."),
        undecidable=_("The time is over and nobody looked for the defect: nothing is proven either way."),
    ),
    "nc.effect.study": RuleText(
        title=_("Study"),
        misfit=_("Study {study} does not answer it: {why}"),
        expected=_("A signed study, concluded after the actions were done, that says conforms or does not conform."),
        next_step=_("Conclude the study first, or name another."),
    ),
    "nc.close.cause": RuleText(
        title=_("Cause"),
        misfit=_("No cause is stated."),
        next_step=_("State which part failed and why."),
    ),
    "nc.close.actions": RuleText(
        title=_("Actions"),
        misfit=_("No action was done{since}."),
        expected=_("At least one action against the cause."),
        next_step=_("State and do an action, or say why a correction is enough."),
    ),
    "nc.close.action": RuleText(
        title=_("Open action"),
        misfit=_("Action {action} is open: {what} ({person}, until {due})."),
        next_step=_("Finish it with evidence, or drop it with a reason."),
    ),
    "nc.close.measure": RuleText(
        title=_("Proof that it worked"),
        misfit=_("What would prove that it worked is not stated{since}."),
        next_step=_("State the measure."),
    ),
    "nc.close.proof": RuleText(
        title=_("Proof that it worked"),
        misfit=_("Nobody has verified yet that it worked."),
        next_step=_("Have it verified by somebody who did not do the actions."),
    ),
    "nc.close.failed": RuleText(
        title=_("Proof that it worked"),
        misfit=_("What was verified on {day} says that it did not work."),
        next_step=_("State a further action and a new measure."),
    ),
    "nc.close.hold": RuleText(
        title=_("Hold"),
        misfit=_("The hold on batch {batch} is not decided."),
        next_step=_("Decide on the hold first."),
    ),
    "nc.close.held": RuleText(
        title=_("Held pieces"),
        misfit=_("{left} held pieces of batch {batch} wait for a decision."),
        next_step=_("Decide on the held pieces first."),
    ),
    "nc.close.case": RuleText(
        title=_("Containment"),
        misfit=_("Containment case {case} is open."),
        next_step=_("Close the case first."),
    ),
    "nc.close.has_actions": RuleText(
        title=_("No corrective action"),
        misfit=_("{number} has corrective actions that were not dropped."),
        expected=_("“Correction only” is for what needs none."),
        next_step=_("Close it with the proof that they worked."),
    ),
}
