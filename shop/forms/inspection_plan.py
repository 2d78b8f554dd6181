"""The form of an inspection plan: a row of counts, a gauge and a chart for each characteristic, and the visual criteria."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.acts.inspection_plans import InspectionInput, LineInput
from shop.characteristics import Characteristic, gauge_kinds_for
from shop.criteria import LONGEST_OWN, criteria_for
from shop.forms.fields import CountField
from shop.jobs import ChartKind, Termination
from shop.plan_lines import Line, plan_lines
from shop.tools import GaugeKind

COUNTS = ("first", "sample", "last", "every_nth")


@dataclass(frozen=True, slots=True)
class PlanRow:
    """One characteristic of the form, cell by cell. cells: first, sample, last, every_nth, gauge_kind, chart."""

    characteristic: str
    label: str
    line: Line
    cells: list[forms.BoundField]


def slug(characteristic: str) -> str:
    return characteristic.replace(" ", "-")


class InspectionPlanForm(forms.Form):
    """One termination's plan. Fields are named after their column and characteristic: "first-crimp-height"."""

    def __init__(self, *args: Any, termination: Termination, **options: Any) -> None:
        super().__init__(*args, **options)
        self.lines = plan_lines(termination)
        charts = list(ChartKind.choices)
        kinds = dict(GaugeKind.choices)
        for line in self.lines:
            name, label = slug(line.characteristic), Characteristic(line.characteristic).label
            for column, title in (
                ("first", _("pieces of the first piece")),
                ("sample", _("pieces of a sample in process")),
                ("last", _("pieces of the last piece")),
                ("every_nth", _("in every how many-th sample")),
            ):
                self.fields[f"{column}-{name}"] = CountField(label=f"{label}, {title}", initial=getattr(line, column))
            self.fields[f"gauge_kind-{name}"] = forms.ChoiceField(
                label=f"{label}, {_('gauge')}",
                choices=[(kind, kinds[kind]) for kind in gauge_kinds_for(line.characteristic)],
                initial=line.gauge_kind,
            )
            self.fields[f"chart-{name}"] = forms.ChoiceField(label=f"{label}, {_('chart')}", choices=charts, initial=line.chart)
        usual = criteria_for(termination.terminal.barrel, termination.terminal.has_support)
        self.fields["criteria"] = forms.MultipleChoiceField(
            label=_("Visual criteria that apply"),
            choices=[(c.code, c.title) for c in usual],
            initial=[c.code for c in usual if c.code not in termination.criteria_left_out],
            required=False,
            widget=forms.CheckboxSelectMultiple,
        )
        self.fields["added"] = forms.CharField(
            label=_("Criteria of your own"),
            initial="\n".join(termination.criteria_added),
            required=False,
            widget=forms.Textarea(attrs={"rows": 3}),
            help_text=_("One a line, what is seen when the piece is accepted; at most %(limit)d characters each.") % {"limit": LONGEST_OWN},
        )

    # Where a finding is shown that names the act's field.
    places = {"left_out": "criteria"}

    def rows(self) -> list[PlanRow]:
        columns = (*COUNTS, "gauge_kind", "chart")
        return [
            PlanRow(
                line.characteristic,
                str(Characteristic(line.characteristic).label),
                line,
                [self[f"{column}-{slug(line.characteristic)}"] for column in columns],
            )
            for line in self.lines
        ]

    def stated(self) -> InspectionInput:
        """The act's input. The form must be valid."""
        given = self.cleaned_data
        offered: Sequence[str] = [code for code, _title in self.fields["criteria"].choices]  # type: ignore[attr-defined]
        return InspectionInput(
            lines=[
                LineInput(
                    characteristic=line.characteristic,
                    gauge_kind=given[f"gauge_kind-{slug(line.characteristic)}"],
                    chart=given[f"chart-{slug(line.characteristic)}"],
                    **{column: given[f"{column}-{slug(line.characteristic)}"] for column in COUNTS},
                )
                for line in self.lines
            ],
            left_out=[code for code in offered if code not in given["criteria"]],
            added=[text.strip() for text in given["added"].splitlines() if text.strip()],
        )
