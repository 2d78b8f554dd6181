"""Forms of a parts list: the file, and which of its columns means what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from shop.parts_list import COLUMNS, NEEDED, UNITS

LABELS: dict[str, Any] = {
    "lead": _("Lead"),
    "wire": _("Wire"),
    "left_terminal": _("Left terminal (end A)"),
    "right_terminal": _("Right terminal (end B)"),
    "length": _("Length"),
    "quantity": _("Pieces per harness"),
    "circuit": _("Circuit"),
    "from": _("From"),
    "to": _("To"),
    "with": _("In one barrel with"),
    "tool_a": _("Tool, end A"),
    "tool_b": _("Tool, end B"),
    "specification": _("Crimp specification"),
}
"""Our columns, and the further places at which a finding is shown."""

HELP: dict[str, Any] = {
    "length": _("Point or comma as decimal mark."),
    "quantity": _("Multiplied by the harnesses ordered. Left out: one each."),
    "with": _("4/A: the same end of this lead goes into lead 4's end A; B+4/A: its end B does."),
}

SAMPLES = 3


class PartsFileForm(forms.Form):
    file = forms.FileField(
        label=_("Parts list"),
        help_text=_("CSV in UTF-8, or XLSX: a line of column names, then a line per lead."),
        widget=forms.FileInput(attrs={"accept": ".csv,text/csv,.xlsx"}),
    )


class ColumnsForm(forms.Form):
    """One choice for each of our columns: the columns of the file with their first values."""

    length_unit = forms.ChoiceField(
        label=_("Unit of a length that states none"),
        required=False,
        choices=[("", _("every cell states its own")), *((u, u) for u in UNITS)],
    )

    def __init__(self, *args: Any, header: Sequence[str], rows: Sequence[Sequence[str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [("", _("not in the file")), *((str(i), _choice(i, name, rows)) for i, name in enumerate(header))]
        for name in COLUMNS:
            self.fields[name] = forms.ChoiceField(
                label=LABELS[name], required=name in NEEDED, choices=choices, help_text=HELP.get(name, "")
            )
        self.order_fields([*COLUMNS[: COLUMNS.index("length") + 1], "length_unit", *COLUMNS[COLUMNS.index("length") + 1 :]])

    def mapping(self) -> dict[str, int]:
        """Our column -> position in the file. The form must be valid."""
        return {name: int(self.cleaned_data[name]) for name in COLUMNS if self.cleaned_data[name]}


def _choice(position: int, name: str, rows: Sequence[Sequence[str]]) -> str:
    samples = list(dict.fromkeys(row[position] for row in rows if row[position]))[:SAMPLES]
    return f"{name}: {', '.join(samples)}" if samples else name


def as_initial(mapping: Mapping[str, Any]) -> dict[str, str]:
    return {name: str(position) for name, position in mapping.items()}
