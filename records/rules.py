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
    "document.meaning": RuleText(
        title=_("Signature on a document"),
        misfit=_("{number} has no place for a signature “{meaning}”."),
        next_step=_("Choose one of the places on the document."),
    ),
    "document.signed": RuleText(
        title=_("Signature on a document"),
        misfit=_("{number} carries a signature “{meaning}” already."),
        next_step=_("Nothing to do; a later state of the record is a new issue."),
    ),
    "document.order": RuleText(
        title=_("Order of signatures"),
        misfit=_("“{meaning}” cannot be signed on {number} any more: somebody signed behind it."),
        expected=_("Signatures follow each other: performed, checked, approved."),
        next_step=_("Issue the document anew and sign that, in order."),
    ),
    "document.second": RuleText(
        title=_("Signature on a document"),
        misfit=_("{person} has signed {number} already."),
        expected=_("Each signature on a document is another person's."),
        next_step=_("Ask a colleague with the role."),
    ),
    "document.superseded": RuleText(
        title=_("Signature on a document"),
        misfit=_("{number} is not the newest issue: {later} is."),
        next_step=_("Sign the newest issue."),
    ),
    "document.not_yours": RuleText(
        title=_("Signature on a document"),
        misfit=_("{number} has no open place for a signature of {person}."),
        expected=_("A place for one of the person's roles, behind the last signature."),
        next_step=_("Look at the document: it says who may sign next."),
    ),
    "document.no_place": RuleText(
        title=_("Signature on a document"),
        misfit=_("{number} was drawn without places for signatures."),
        next_step=_("Issue the document anew."),
    ),
    "checkpoint.empty": RuleText(
        title=_("Checkpoint"), misfit=_("The ledger has no entry yet."), next_step=_("Nothing to do: there is nothing to sign.")
    ),
    "checkpoint.shorter": RuleText(
        title=_("Checkpoint"),
        misfit=_("The ledger has {entries} entries; its last checkpoint counts {last}."),
        expected=_("A ledger only grows."),
        next_step=_("Its tail was cut off. Run manage.py verify_ledger, and restore it from a backup."),
    ),
    "checkpoint.differs": RuleText(
        title=_("Checkpoint"),
        misfit=_("The first {entries} entries are not those that the last checkpoint was signed over."),
        expected=_("A ledger only grows."),
        next_step=_("It was written anew. Run manage.py verify_ledger, and restore it from a backup."),
    ),
    "checkpoint.broken": RuleText(
        title=_("Checkpoint"),
        misfit=_("Entry {entry} does not follow the one before it."),
        expected=_("Every entry carries the hash of the one before."),
        next_step=_("Run manage.py verify_ledger, and restore the ledger from a backup."),
    ),
    "evidence.of": RuleText(
        title=_("Evidence package"),
        misfit=_("There is no {kind} {number}."),
        next_step=_("Check the number."),
    ),
    "evidence.period": RuleText(
        title=_("Period"),
        misfit=_("The period from {since} to {until} cannot be packed."),
        expected=_("The last day is no earlier than the first, and the period no longer than {days} days."),
        next_step=_("Correct the days, or ask for parts of the period."),
    ),
    "certificate.hold": RuleText(
        title=_("Certificate of conformity"),
        misfit=_("Shipment {shipment} cannot be certified: a hold on batch {batch} is not decided."),
        expected=_("Nothing waits for a decision behind what is certified."),
        next_step=_("Decide on the hold first."),
    ),
    "certificate.contained": RuleText(
        title=_("Certificate of conformity"),
        misfit=_("Shipment {shipment} cannot be certified: containment case {case} suspects it and is not decided."),
        expected=_("Nothing is suspect in what is certified."),
        next_step=_("Work through the case first."),
    ),
    "document.key": RuleText(
        title=_("Shop key"),
        misfit=_("The document cannot be sealed: {reason}"),
        next_step=_("Ask the administrator; the record itself is safe and can be issued later."),
    ),
}
