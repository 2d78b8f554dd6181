"""Forms of controlled documents and crimp specifications."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy as _

from shop.conductor import parse_size
from shop.forms.fields import (
    AreaField,
    CountField,
    DayField,
    DocumentField,
    ForceField,
    KeyField,
    LengthField,
    NumberField,
    YesNoField,
)
from shop.forms.item import ItemForm
from shop.materials import Terminal
from shop.pull_force import CHECKED, PullForceMinimum, minimum_pull_force, row_of_source, standards
from shop.quantity import NotAQuantity
from shop.specifications import CrimpSpecification, Document
from shop.templatetags.shop import figure
from shop.tolerance import parse_limits_mm


class DocumentForm(ItemForm):
    effective_on = DayField(label=_("In force from"))
    withdrawn_on = DayField(label=_("Withdrawn"), required=False, help_text=_("The first day on which it no longer holds."))

    only_new = ("withdrawn_on",)

    class Meta:
        model = Document
        fields = ["number", "revision", "title", "kind", "effective_on", "withdrawn_on"]


_LIMITED = ("crimp_height", "crimp_width", "insulation_height", "strip_length", "bell_mouth", "brush")
"""Characteristics whose limits may be written in one go, as a drawing does."""


def _limits_field(label: Any) -> forms.CharField:
    return forms.CharField(label=label, required=False, max_length=60, help_text=_("1.40 ±0.05, 1.40 +0.05 -0.03 or 1.35..1.45."))


class SpecificationForm(ItemForm):
    terminal = KeyField(Terminal, "part_number", only={"is_active": True}, label=_("Terminal"))
    document = DocumentField(label=_("Document"))
    csa_min_mm2 = AreaField(label=_("From conductor area, mm²"), help_text=_("In mm², or as a gauge: AWG 20."))
    csa_max_mm2 = AreaField(label=_("To conductor area, mm²"))
    crimp_height = forms.CharField(
        label=_("Crimp height with limits"),
        required=False,
        max_length=60,
        help_text=_("1.40 ±0.05, 1.40 +0.05 -0.03 or 1.35..1.45; fills the three fields below."),
    )
    crimp_height_min_mm = LengthField(label=_("Crimp height from, mm"), required=False)
    crimp_height_nominal_mm = LengthField(label=_("Crimp height nominal, mm"), required=False)
    crimp_height_max_mm = LengthField(label=_("Crimp height to, mm"), required=False)
    crimp_width = _limits_field(_("Crimp width with limits"))
    crimp_width_min_mm = LengthField(label=_("Crimp width from, mm"), required=False)
    crimp_width_nominal_mm = LengthField(label=_("Crimp width nominal, mm"), required=False)
    crimp_width_max_mm = LengthField(label=_("Crimp width to, mm"), required=False)
    insulation_height = _limits_field(_("Insulation crimp height with limits"))
    insulation_height_min_mm = LengthField(label=_("Insulation crimp height from, mm"), required=False)
    insulation_height_nominal_mm = LengthField(label=_("Insulation crimp height nominal, mm"), required=False)
    insulation_height_max_mm = LengthField(label=_("Insulation crimp height to, mm"), required=False)
    strip_length = _limits_field(_("Strip length with limits"))
    strip_length_min_mm = LengthField(label=_("Strip length from, mm"), required=False)
    strip_length_nominal_mm = LengthField(label=_("Strip length nominal, mm"), required=False)
    strip_length_max_mm = LengthField(label=_("Strip length to, mm"), required=False)
    bell_mouth = _limits_field(_("Bell mouth with limits"))
    bell_mouth_min_mm = LengthField(label=_("Bell mouth from, mm"), required=False)
    bell_mouth_max_mm = LengthField(label=_("Bell mouth to, mm"), required=False)
    brush = _limits_field(_("Conductor brush with limits"))
    brush_min_mm = LengthField(label=_("Conductor brush from, mm"), required=False)
    brush_max_mm = LengthField(label=_("Conductor brush to, mm"), required=False)
    cut_off_tab_max_mm = LengthField(label=_("Cut-off tab to, mm"), required=False)
    resistance_max_mohm = NumberField(label=_("Resistance to, mΩ"), required=False)
    compaction_min_pct = NumberField(label=_("Compaction from, %"), required=False)
    compaction_max_pct = NumberField(label=_("Compaction to, %"), required=False)
    pull_force_min_n = ForceField(label=_("Pull force at least, N"), required=False, help_text=_("In N, or with its unit: 20 lbf."))
    pull_force_checked = YesNoField(
        label=_("Checked against the issued standard"),
        required=False,
        help_text=_("Needed where the source is a table known from memory or copies only."),
    )
    effective_on = DayField(label=_("In force from"))
    withdrawn_on = DayField(label=_("Withdrawn"), required=False, help_text=_("The first day on which it no longer holds."))

    only_new = ("withdrawn_on",)
    groups = (
        (_("Specification"), ("number", "revision", "document", "effective_on", "withdrawn_on")),
        (_("What it covers"), ("terminal", "csa_min_mm2", "csa_max_mm2", "tool_kind")),
        (_("Crimp height"), ("crimp_height", "crimp_height_min_mm", "crimp_height_nominal_mm", "crimp_height_max_mm")),
        (
            _("Conductor crimp"),
            (
                "crimp_width",
                "crimp_width_min_mm",
                "crimp_width_nominal_mm",
                "crimp_width_max_mm",
                "bell_mouth",
                "bell_mouth_min_mm",
                "bell_mouth_max_mm",
                "brush",
                "brush_min_mm",
                "brush_max_mm",
                "compaction_min_pct",
                "compaction_max_pct",
            ),
        ),
        (
            _("Insulation, strip and cut-off"),
            (
                "insulation_height",
                "insulation_height_min_mm",
                "insulation_height_nominal_mm",
                "insulation_height_max_mm",
                "strip_length",
                "strip_length_min_mm",
                "strip_length_nominal_mm",
                "strip_length_max_mm",
                "cut_off_tab_max_mm",
            ),
        ),
        (_("Pull force and resistance"), ("resistance_max_mohm", "pull_force_min_n", "pull_force_source", "pull_force_checked")),
    )

    class Meta:
        model = CrimpSpecification
        fields = [
            "number",
            "revision",
            "terminal",
            "csa_min_mm2",
            "csa_max_mm2",
            "tool_kind",
            "document",
            "crimp_height_min_mm",
            "crimp_height_nominal_mm",
            "crimp_height_max_mm",
            "crimp_width_min_mm",
            "crimp_width_nominal_mm",
            "crimp_width_max_mm",
            "insulation_height_min_mm",
            "insulation_height_nominal_mm",
            "insulation_height_max_mm",
            "strip_length_min_mm",
            "strip_length_nominal_mm",
            "strip_length_max_mm",
            "bell_mouth_min_mm",
            "bell_mouth_max_mm",
            "brush_min_mm",
            "brush_max_mm",
            "cut_off_tab_max_mm",
            "compaction_min_pct",
            "compaction_max_pct",
            "resistance_max_mohm",
            "pull_force_min_n",
            "pull_force_source",
            "effective_on",
            "withdrawn_on",
        ]

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        for stem in _LIMITED:
            self._take_limits(stem, cleaned)
        self._ask_for_the_source(cleaned)
        return cleaned

    def _take_limits(self, stem: str, cleaned: dict[str, Any]) -> None:
        """Fill the limits of one characteristic from the text that gives them in one go."""
        text = cleaned.get(stem)
        if not text:
            return
        try:
            limits = parse_limits_mm(text)
        except NotAQuantity as error:
            self.add_error(stem, ValidationError(str(error), code="invalid"))
            return
        written = {f"{stem}_min_mm": limits.low_mm, f"{stem}_nominal_mm": limits.nominal_mm, f"{stem}_max_mm": limits.high_mm}
        for name, value in written.items():
            if name not in self.fields:  # no nominal is kept of a bell mouth or a brush
                continue
            typed = cleaned.get(name)
            # What stood there before may be overwritten; two different figures typed now may not.
            if value is not None and typed is not None and typed != value and name in self.changed_data:
                self.add_error(name, _("This differs from the limits written in one above: write one of the two."))
            elif value is not None:
                cleaned[name] = value

    def _ask_for_the_source(self, cleaned: dict[str, Any]) -> None:
        """A source that names a row of a standard goes with that row's figure, and with a look at the standard where we had none."""
        source, force = str(cleaned.get("pull_force_source") or ""), cleaned.get("pull_force_min_n")
        row = row_of_source(source)
        if row is None:
            return
        if force is not None and force != row.force_n:
            message = _("The source below lists {force} N. For another figure, write where that one comes from.")
            self.add_error("pull_force_min_n", str(message).format(force=figure(row.force_n)))
        if row.is_confirmed or source.endswith(CHECKED):
            return
        if cleaned.get("pull_force_checked"):
            cleaned["pull_force_source"] = f"{source}; {CHECKED}"
        else:
            message = _("This figure is “{status}”. Look it up in the issued standard and tick here, or name another source.")
            self.add_error("pull_force_checked", str(message).format(status=row.status))


class PullForcePicker(forms.Form):
    """Standard and size, from which a pull force is proposed. It proposes; it never decides."""

    pull_force_standard = forms.ChoiceField(
        label=_("Standard"), choices=lambda: [("", _("none chosen")), *((s.code, s.title) for s in standards())], required=False
    )
    pull_force_size = forms.CharField(
        label=_("Size"), max_length=40, required=False, help_text=_("As the standard lists it: AWG 20, or 0.5 mm².")
    )

    def proposal(self) -> PullForceMinimum:
        """The row of exactly this size. Raises NoRow, NotASize, or ValidationError where nothing is chosen."""
        if not self.is_valid() or not self.cleaned_data["pull_force_standard"]:
            raise ValidationError(_("Choose a standard and write a size first."))
        size = parse_size(self.cleaned_data["pull_force_size"])
        return minimum_pull_force(self.cleaned_data["pull_force_standard"], awg=size.awg, csa_mm2=size.csa_mm2)


class WithdrawForm(forms.Form):
    on = DayField(label=_("From"), required=False, help_text=_("The first day on which it no longer holds. Empty: today."))
    reason = forms.CharField(label=_("Why it ends"), max_length=200)
    knowing = CountField(
        label=_("How many sheets and specifications rely on it"), help_text=_("The number above: you know what you are ending.")
    )
