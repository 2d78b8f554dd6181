"""The words of the rules of proving: harness lots, shipments, documents."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from shop.wording import RuleText

RULES: dict[str, RuleText] = {
    "lot.batch.open": RuleText(
        title=_("Batch"),
        misfit=_("Batch {batch} is not closed."),
        expected=_("Only closed batches go into a harness lot."),
        next_step=_("Close the batch with balanced counts first."),
    ),
    "lot.batch.job": RuleText(
        title=_("Batch"),
        misfit=_("Batch {batch} belongs to job {job}."),
        expected=_("The lot is built for job {expected}."),
        next_step=_("Take batches of that job."),
    ),
    "lot.batch.pieces": RuleText(
        title=_("Pieces"),
        misfit=_("{asked} pieces of batch {batch} are asked for, {left} are left."),
        expected=_("Only good pieces, each once."),
        next_step=_("Correct the quantity."),
    ),
    "lot.termination.short": RuleText(
        title=_("Complete lot"),
        misfit=_("Lead {lead}, end {end}: {given} pieces for {harnesses} harnesses."),
        expected=_("{needed} pieces."),
        next_step=_("Add a batch of that termination, or build fewer harnesses."),
    ),
    "lot.batches.none": RuleText(title=_("Batches"), misfit=_("A lot without a batch proves nothing."), next_step=_("Pick batches.")),
    "shipment.lots.none": RuleText(title=_("Lots"), misfit=_("A shipment needs a lot at least."), next_step=_("Pick lots.")),
    "shipment.lot.customer": RuleText(
        title=_("Customer"),
        misfit=_("Lot {lot} was built for {customer}."),
        expected=_("This shipment goes to {expected}."),
        next_step=_("Take lots of that customer."),
    ),
    "shipment.lot.quantity": RuleText(
        title=_("Harnesses"),
        misfit=_("{asked} harnesses of lot {lot} are asked for, {left} are left."),
        next_step=_("Correct the quantity."),
    ),
    "document.subject": RuleText(
        title=_("Document"),
        misfit=_("{kind} cannot be issued for {subject} in its present state: {state}."),
        expected=_("{needed}"),
        next_step=_("Finish that step first."),
    ),
    "document.damaged": RuleText(
        title=_("Stored document"),
        misfit=_("The stored file of {number} is not the one that was issued: its hash differs."),
        expected=_("A stored document never changes."),
        next_step=_("Restore the file from a backup; tell quality and the administrator."),
    ),
    "document.key": RuleText(
        title=_("Shop key"),
        misfit=_("The document cannot be sealed: {reason}"),
        next_step=_("Ask the administrator; the record itself is safe and can be issued later."),
    ),
}
