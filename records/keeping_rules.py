"""The words of the rules of keeping: attachments, retention, legal holds, disposal."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from shop.wording import RuleText

RULES: dict[str, RuleText] = {
    "attachment.twice": RuleText(
        title=_("Attachment"),
        misfit=_("{name} is attached here already, as “{title}”."),
        next_step=_("Nothing to do: the bytes are the same."),
    ),
    "attachment.withdrawn": RuleText(
        title=_("Attachment"),
        misfit=_("“{title}” was withdrawn before."),
        next_step=_("Nothing to do; attach another file if one is missing."),
    ),
    "attachment.damaged": RuleText(
        title=_("Attachment"),
        misfit=_("The stored file of “{title}” is gone or no longer the one that was attached."),
        expected=_("Content with the hash {sha256}."),
        next_step=_("Have it restored from a backup; tell quality and the administrator."),
    ),
    "attachment.no_thing": RuleText(
        title=_("Attachment"),
        misfit=_("No file can be attached to {kind} {key}."),
        expected=_("One of: {kinds}, with the key of one that exists."),
        next_step=_("Open the thing's page and attach the file there."),
    ),
    "file.disposed": RuleText(
        title=_("Disposed of"),
        misfit=_("The file of {name} was disposed of on {day} under rule {under}, by act {act}."),
        expected=_("Number, hash, size and dates of the record are kept, and so is everything measured."),
        next_step=_("Open the act {act} under Keeping records; it says who signed it and what went."),
    ),
    "keeping.kind": RuleText(
        title=_("Kind of record"),
        misfit=_("“{kind}” is no kind of record."),
        expected=_("One of: {kinds}."),
        next_step=_("Choose one of them."),
    ),
    "keeping.after": RuleText(
        title=_("Retention rule"),
        misfit=_("Years of “{kind}” cannot be counted from “{after}”."),
        expected=_("One of: {allowed}."),
        next_step=_("Choose one of them."),
    ),
    "keeping.no_rule": RuleText(
        title=_("Disposal"),
        misfit=_("No retention rule is in force for “{kind}”."),
        expected=_("Nothing is disposed of without a rule that quality has signed."),
        next_step=_("Set the rule first; one that says “for good” disposes of nothing."),
    ),
    "keeping.nothing": RuleText(title=_("Disposal"), misfit=_("Nothing was chosen."), next_step=_("Choose the records that are to go.")),
    "keeping.not_due": RuleText(
        title=_("Disposal"),
        misfit=_("{name} is to be kept until {until}."),
        expected=_("Records go when their time under the rule is over."),
        next_step=_("Leave it out."),
    ),
    "keeping.running": RuleText(
        title=_("Disposal"),
        misfit=_("The time of {name} has not begun: what it is about is not over."),
        expected=_("A batch is closed, a sheet or document out of force, nothing of the part open."),
        next_step=_("Leave it out."),
    ),
    "keeping.legal_hold": RuleText(
        title=_("Legal hold"),
        misfit=_("{name} is on legal hold {hold}."),
        expected=_("What is on hold is not disposed of."),
        next_step=_("Leave it out, or have the hold lifted."),
    ),
    "keeping.open_case": RuleText(
        title=_("Disposal"),
        misfit=_("{name} belongs to {case}, which is open."),
        expected=_("Nothing that is being looked into is disposed of."),
        next_step=_("Leave it out until that is closed."),
    ),
    "keeping.in_use": RuleText(
        title=_("Disposal"),
        misfit=_("{name} is still needed: {why}."),
        next_step=_("Leave it out."),
    ),
    "keeping.disposed": RuleText(
        title=_("Disposal"),
        misfit=_("{name} was disposed of before, by act {act}."),
        next_step=_("Leave it out."),
    ),
    "legal_hold.scope": RuleText(
        title=_("Legal hold"),
        misfit=_("Nothing is held by {scope} “{name}”."),
        expected=_("The number of a shipment, lot, batch, job or part, the code of a customer, or the days of a period."),
        next_step=_("Check the number."),
    ),
    "legal_hold.period": RuleText(
        title=_("Legal hold"),
        misfit=_("The period from {since} to {until} runs backwards."),
        expected=_("The last day is no earlier than the first."),
        next_step=_("Correct the days."),
    ),
    "legal_hold.lifted": RuleText(
        title=_("Legal hold"), misfit=_("{hold} was lifted before."), next_step=_("Place another hold if the records are needed again.")
    ),
}
