"""The words of the rules of working without the network."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from shop.wording import RuleText

OFFLINE_RULES: dict[str, RuleText] = {
    "batch.unconfirmed": RuleText(
        title=_("Signatures given without network"),
        misfit=_("Not confirmed yet in batch {batch}: {signatures}."),
        expected=_("Each person confirms with their PIN what they signed without the network."),
        next_step=_("Confirm them first."),
    ),
    "batch.undecided": RuleText(
        title=_("Undecided acts from a tablet"),
        misfit=_("{acts} acts that a tablet kept without the network wait for a decision in batch {batch}."),
        expected=_("Each is taken over or kept as a note before the batch closes."),
        next_step=_("Decide about them first."),
    ),
    "claim.person": RuleText(
        title=_("Signature given without network"),
        misfit=_("This signature was given in the name of {person}."),
        expected=_("Only {person} can confirm or disown it."),
        next_step=_("Ask {person} to come to a tablet."),
    ),
    "claim.answered": RuleText(
        title=_("Signature given without network"),
        misfit=_("{person} has answered this already."),
        next_step=_("Look at the list again."),
    ),
    "offline.content": RuleText(
        title=_("Act from a tablet"),
        misfit=_("{what} is missing or cannot be read."),
        expected=_("The act as the tablet's own page writes it."),
        next_step=_("Keep it as a note, and enter it again at a tablet with network."),
    ),
    "offline.batch": RuleText(
        title=_("Batch"),
        misfit=_("There is no batch {batch}."),
        next_step=_("Keep it as a note, and look at the queue."),
    ),
    "offline.sample": RuleText(
        title=_("Sample"),
        misfit=_("The sample it belongs to was never begun on the server."),
        expected=_("A sample that is being measured."),
        next_step=_("Decide about the beginning of that sample first."),
    ),
    "offline.person": RuleText(
        title=_("Whose act it is"),
        misfit=_("Nothing shows that {person} was signed on at this tablet when the connection was lost."),
        expected=_("An act of the person who was signed on, or who sends it."),
        next_step=_("{person} signs on and decides."),
    ),
    "offline.waits": RuleText(
        title=_("Waits"),
        misfit=_("It builds on an act that waits for a decision: {before}."),
        next_step=_("Decide about that one first."),
    ),
    "offline.outcome": RuleText(
        title=_("Verdict"),
        misfit=_("The tablet showed “{shown}”; by what is recorded here it is “{found}”."),
        expected=_("The same verdict on both."),
        next_step=_("Look at the values, then take it over or keep it as a note."),
    ),
    "offline.decided": RuleText(
        title=_("Decision"),
        misfit=_("This was decided already."),
        next_step=_("Look at the list again."),
    ),
    "offline.order": RuleText(
        title=_("Order"),
        misfit=_("An earlier act of this batch waits too: {before}."),
        expected=_("Acts are taken over in the order in which they were made."),
        next_step=_("Decide about that one first."),
    ),
    "offline.rights": RuleText(
        title=_("Whose decision"),
        misfit=_("{person} cannot decide this."),
        expected=_("{person_of_act} for their own act; an inspector or quality where a hold is concerned."),
        next_step=_("Ask one of them."),
    ),
    "offline.reason": RuleText(
        title=_("Reason"),
        misfit=_("Keeping an act as a note only needs a reason."),
        next_step=_("Say in a sentence why it does not count."),
    ),
}
