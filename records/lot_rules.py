"""The words of the rules of lots in lots, returns and containment."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from shop.wording import RuleText

RULES: dict[str, RuleText] = {
    "lot.lot.quantity": RuleText(
        title=_("Quantity"),
        misfit=_("{asked} of lot {lot} are asked for, {left} are left."),
        expected=_("Never more out of a lot than is in it."),
        next_step=_("Correct the quantity."),
    ),
    "lot.lot.kind": RuleText(
        title=_("Lot in a lot"),
        misfit=_("Lot {lot} is of finished harnesses."),
        expected=_("Only lots of leads and of sub-assemblies go into others."),
        next_step=_("Merge lots of harnesses instead, or take another lot."),
    ),
    "lot.lot.job": RuleText(
        title=_("Lot in a lot"),
        misfit=_("The leads of lot {lot} were made for job {job}."),
        expected=_("The lot is built for job {expected}."),
        next_step=_("Take leads of that job."),
    ),
    "lot.kept_back": RuleText(
        title=_("Lot kept back"),
        misfit=_("Lot {lot} is kept back: {reason}."),
        expected=_("Quality looks at it and releases it first."),
        next_step=_("Ask quality to release the lot."),
    ),
    "lot.not_kept_back": RuleText(
        title=_("Lot kept back"), misfit=_("Lot {lot} is not kept back."), next_step=_("Nothing to do: it may be shipped and used.")
    ),
    "lot.contained": RuleText(
        title=_("Containment"),
        misfit=_("Lot {lot} is held by containment case {case}."),
        expected=_("A suspect lot stays where it is until quality has decided about all of it."),
        next_step=_("Work through the case first."),
    ),
    "lot.batch.contained": RuleText(
        title=_("Containment"),
        misfit=_("Batch {batch} is held by containment case {case}."),
        expected=_("Suspect pieces go into no lot until quality has decided about all of them."),
        next_step=_("Work through the case first, or take another batch."),
    ),
    "lot.part.empty": RuleText(
        title=_("Split"), misfit=_("A part of a lot has one harness at least."), next_step=_("Correct the quantity.")
    ),
    "lot.merge.two": RuleText(title=_("Merge"), misfit=_("A merge takes two lots at least."), next_step=_("Name a second lot.")),
    "lot.merge.alike": RuleText(
        title=_("Merge"),
        misfit=_("Lots {lots} are not of one job and kind."),
        next_step=_("Merge lots of the same job; leads and sub-assemblies only with their like."),
    ),
    "lot.serials.all": RuleText(
        title=_("Serial numbers"),
        misfit=_("{given} serial numbers for {quantity} harnesses."),
        expected=_("One for each harness, or none at all."),
        next_step=_("Complete the list."),
    ),
    "lot.serials.count": RuleText(
        title=_("Serial numbers"),
        misfit=_("{given} serial numbers are named for {quantity} of lot {lot}."),
        expected=_("This lot has serial numbers: each one taken is named."),
        next_step=_("Name as many as are taken."),
    ),
    "lot.serial.twice": RuleText(title=_("Serial numbers"), misfit=_("{serial} is named twice."), next_step=_("Correct the list.")),
    "lot.serial.known": RuleText(
        title=_("Serial numbers"),
        misfit=_("{serial} exists already, in lot {lot}."),
        expected=_("A serial number is given once."),
        next_step=_("Correct the list."),
    ),
    "lot.serial.elsewhere": RuleText(
        title=_("Serial numbers"), misfit=_("{serial} is not in lot {lot}."), next_step=_("Look the number up under Prove.")
    ),
    "return.quantity": RuleText(
        title=_("Return"),
        misfit=_("{asked} of lot {lot} are said to be back from shipment {shipment}; {away} are away."),
        expected=_("No more than were sent and are not back yet."),
        next_step=_("Count again, or name the right shipment."),
    ),
    "return.serial": RuleText(
        title=_("Return"),
        misfit=_("{serial} of lot {lot} did not go with shipment {shipment}, or is back already."),
        next_step=_("Look the number up under Prove."),
    ),
    "containment.empty": RuleText(
        title=_("Containment"),
        misfit=_("Nothing is suspect: the trace finds no pieces of {subject} in this time."),
        next_step=_("Check the question; if it is right, there is nothing to contain."),
    ),
    "containment.changed": RuleText(
        title=_("Containment"),
        misfit=_("The list changed while you looked at it: {shown} suspects were shown, {found} are found now."),
        next_step=_("Read the list again and sign that one."),
    ),
    "containment.span": RuleText(
        title=_("Containment"), misfit=_("The end of the time lies before its beginning."), next_step=_("Correct the dates.")
    ),
    "containment.too_many": RuleText(
        title=_("Containment"),
        misfit=_("{found} batches are suspect, more than one case takes ({most})."),
        next_step=_("Narrow the time or the counts and open a case for each part."),
    ),
    "containment.closed": RuleText(
        title=_("Containment"), misfit=_("Case {case} is closed."), next_step=_("Open a new case if something else is suspect.")
    ),
    "containment.kind": RuleText(
        title=_("Decision"),
        misfit=_("“{kind}” cannot be decided for something that is {place}."),
        expected=_("One of: {kinds}."),
        next_step=_("Choose another decision."),
    ),
    "containment.quantity": RuleText(
        title=_("Decision"),
        misfit=_("{quantity} are decided on; {left} of {thing} still wait."),
        next_step=_("Correct the quantity."),
    ),
    "containment.running": RuleText(
        title=_("Decision"),
        misfit=_("Batch {batch} is not closed."),
        expected=_("Its counts are known only then."),
        next_step=_("Decide on the hold at the press and close the batch first."),
    ),
    "containment.counted": RuleText(
        title=_("Decision"),
        misfit=_(
            "{quantity} pieces of batch {batch} are said to be counted out; {out} were scrapped, destroyed or held when it was closed."
        ),
        next_step=_("Correct the quantity."),
    ),
    "containment.returned": RuleText(
        title=_("Decision"),
        misfit=_("{quantity} of lot {lot} are said to be back; {back} were received from shipment {shipment}."),
        expected=_("What came back has a number of its own first."),
        next_step=_("Receive the return on the page of the shipment."),
    ),
    "containment.open": RuleText(
        title=_("Closure"),
        misfit=_("{open} of {thing} ({place}) are not decided on."),
        expected=_("A case is closed when nothing is open."),
        next_step=_("Decide on them."),
    ),
    "containment.notice": RuleText(
        title=_("Closure"),
        misfit=_("{customer} was not told about shipment {shipment}."),
        expected=_("Each customer who received suspect harnesses knows."),
        next_step=_("Send the notice and record it."),
    ),
}
