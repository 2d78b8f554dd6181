"""Forms of sampling: schemes, lots, and the questions of the planning page. They parse; acts and pure computation judge."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from inspection.acceptance import ROUTES, PlanBasis, SampledThing
from inspection.sampling.single import Level, Severity, aqls
from shop.forms.fields import CountField, KeyField, NumberField
from shop.forms.termination import SignForm
from shop.materials import Terminal, Wire

LEVELS = [(one.value, one.value) for one in Level]
AQLS = [(f"{one:f}", f"{one:f}") for one in aqls()]
SEVERITIES = [(Severity.NORMAL.value, _("normal")), (Severity.TIGHTENED.value, _("tightened")), (Severity.REDUCED.value, _("reduced"))]


class SchemeForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=120)
    thing = forms.ChoiceField(label=_("What is sampled"), choices=SampledThing.choices)
    terminal = KeyField(Terminal, "part_number", label=_("Terminal"), required=False, help_text=_("For terminal lots and batches."))
    wire = KeyField(Wire, "part_number", label=_("Wire"), required=False, help_text=_("For wire lots."))
    criterion = forms.CharField(label=_("Looked at for"), max_length=300, help_text=_("The characteristic or criterion, in words."))
    basis = forms.ChoiceField(label=_("Plan"), choices=PlanBasis.choices)
    level = forms.ChoiceField(
        label=_("Inspection level"), choices=LEVELS, initial="II", required=False, help_text=_("For the tables. II is usual.")
    )
    aql = forms.ChoiceField(
        label=_("AQL"),
        choices=AQLS,
        initial="1.0",
        required=False,
        help_text=_("For the tables. Percent nonconforming; above 10, nonconformities per 100 units."),
    )
    start = forms.ChoiceField(
        label=_("Starts on"), choices=SEVERITIES, required=False, help_text=_("For the tables. Normal, unless something else is agreed.")
    )
    reduced_by = forms.ChoiceField(
        label=_("To reduced inspection by"),
        choices=ROUTES,
        initial="never",
        required=False,
        help_text=_("For the tables. Reduced inspection needs the agreement of whoever is responsible."),
    )
    quality = NumberField(label=_("Quality to be refused, % nonconforming"), required=False, help_text=_("For “none allowed”."))
    risk = NumberField(label=_("Risk of accepting it, %"), required=False, help_text=_("For “none allowed”. 10 or 5 are common practice."))
    n = CountField(label=_("Sample size"), required=False, help_text=_("For an own plan."))
    ac = CountField(label=_("Acceptance number"), required=False, help_text=_("For an own plan."))
    reason = forms.CharField(label=_("Why so"), max_length=300, help_text=_("The contract, the standard or the experience it rests on."))

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for name in ("terminal", "wire"):
            field = self.fields[name]
            assert isinstance(field, KeyField)  # noqa: S101  # for the type checker
            field.offer()


class LotForm(SignForm):
    """What was found in the sample, signed."""

    found = CountField(label=_("Found nonconforming"))
    defects = forms.CharField(label=_("What was found"), max_length=500, required=False, widget=forms.Textarea(attrs={"rows": 2}))
    resubmitted = forms.BooleanField(
        label=_("The lot is presented again after it was not accepted"),
        required=False,
        help_text=_("It does not count for the severity then."),
    )
    irregular = forms.CharField(
        label=_("What was irregular in its production"),
        max_length=200,
        required=False,
        help_text=_("Ends reduced inspection, or keeps it from beginning."),
    )

    field_order = ("found", "defects", "resubmitted", "irregular", "secret")


# --- The planning page ---------------------------------------------------------------------------------------------------------


class TableQuestion(forms.Form):
    lot_size = CountField(label=_("Lot size"), initial="1000")
    level = forms.ChoiceField(label=_("Inspection level"), choices=LEVELS, initial="II")
    aql = forms.ChoiceField(label=_("AQL"), choices=AQLS, initial="1.0")
    severity = forms.ChoiceField(label=_("Severity"), choices=SEVERITIES, initial="normal")


class RisksQuestion(forms.Form):
    p1 = NumberField(label=_("Good quality, % nonconforming"), initial="1")
    alpha = NumberField(label=_("Risk of refusing it, %"), initial="5")
    p2 = NumberField(label=_("Bad quality, % nonconforming"), initial="6")
    beta = NumberField(label=_("Risk of accepting it, %"), initial="10")
    lot_size = CountField(
        label=_("Lot size"), required=False, help_text=_("For the plan of one lot, exactly; empty for lots from a process.")
    )


class ZeroQuestion(forms.Form):
    p2 = NumberField(label=_("Quality to be refused, % nonconforming"), initial="5")
    beta = NumberField(label=_("Risk of accepting it, %"), initial="10")
    lot_size = CountField(
        label=_("Lot size"), required=False, help_text=_("For the plan of one lot, exactly; empty for lots from a process.")
    )


class RunQuestion(forms.Form):
    reliability = NumberField(label=_("Reliability, %"), initial="95", help_text=_("The share that has to pass."))
    confidence = NumberField(label=_("Confidence, %"), initial="95")
    failures = CountField(label=_("Failures allowed"), initial="0")


class BoundQuestion(forms.Form):
    values = forms.CharField(
        label=_("Pull forces, N"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 5}),
        help_text=_("Pasted, one a line or parted by blanks. Empty for the factors alone."),
    )
    minimum = NumberField(label=_("Least force, N"), required=False)
    n = CountField(label=_("Number of values"), required=False, help_text=_("For the factors, where no values are pasted."))
    share = NumberField(label=_("Share that holds the bound, %"), initial="95")
    confidence = NumberField(label=_("Confidence, %"), initial="95")
