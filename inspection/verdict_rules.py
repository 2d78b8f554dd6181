"""The words of what `inspection.verdict` refuses or asks about."""

from __future__ import annotations

from django.utils.translation import gettext_lazy as _

from shop.wording import RuleText

VERDICT_RULES: dict[str, RuleText] = {
    "reading.not_a_number": RuleText(
        title=_("Reading is a number"),
        misfit=_("The reading “{text}” is not a number."),
        expected=_("Expected: {expected}."),
        next_step=_("Type it again, with digits and one decimal point."),
    ),
    "reading.wrong_unit": RuleText(
        title=_("Unit of the reading"),
        misfit=_("The reading “{text}” has a unit that does not belong here."),
        expected=_("Expected: {expected}."),
        next_step=_("Measure the right characteristic, or correct the unit."),
    ),
    "reading.ambiguous": RuleText(
        title=_("Reading can be read one way"),
        misfit=_("The reading “{text}” can be read in two ways."),
        expected=_("Expected: {expected}, without thousands marks."),
        next_step=_("Type it again with a decimal point."),
    ),
    "reading.implausible": RuleText(
        title=_("Reading is believable"),
        misfit=_("The reading “{text}” is far from the limits {low} to {high} {unit}; it looks like {suggestion} {unit}."),
        undecidable=_("The reading “{text}” is far from the limits {low} to {high} {unit}."),
        expected=_("A reading near the limits."),
        next_step=_("Check the decimal point and the unit; correct the reading, or confirm that the gauge shows it."),
    ),
}
