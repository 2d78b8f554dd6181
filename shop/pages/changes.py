"""The difference between two revisions of a setup sheet, in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_GET

from shop.jobs import SetupSheet
from shop.pages.catalogue import Crumb
from shop.pages.plan import crumbs_to
from shop.sheet_changes import Change, changes
from shop.sheet_content import sheet_content

LABELS: dict[str, Any] = {
    "position": gettext_lazy("Position"),
    "circuit": gettext_lazy("Circuit"),
    "quantity": gettext_lazy("Pieces"),
    "wires": gettext_lazy("Wires"),
    "csa_mm2": gettext_lazy("Conductor area in the barrel"),
    "wire_length_mm": gettext_lazy("Wire length"),
    "terminal": gettext_lazy("Terminal"),
    "tool": gettext_lazy("Tool, setting"),
    "press": gettext_lazy("Press"),
    "required_current_a": gettext_lazy("Current asked"),
    "dipped_end": gettext_lazy("End dipped in solder"),
    "specification": gettext_lazy("Crimp specification"),
    "targets.crimp_height_mm": gettext_lazy("Crimp height"),
    "targets.crimp_width_mm": gettext_lazy("Crimp width"),
    "targets.insulation_height_mm": gettext_lazy("Insulation crimp height"),
    "targets.strip_length_mm": gettext_lazy("Strip length"),
    "targets.bell_mouth_mm": gettext_lazy("Bell mouth"),
    "targets.brush_mm": gettext_lazy("Conductor brush"),
    "targets.cut_off_tab_max_mm": gettext_lazy("Cut-off tab, at most"),
    "targets.resistance_max_mohm": gettext_lazy("Resistance, at most"),
    "targets.compaction_pct": gettext_lazy("Compaction"),
    "targets.pull_force_min_n": gettext_lazy("Pull force, at least"),
    "targets.pull_force_source": gettext_lazy("Source of the pull force"),
    "plan.first_piece_heights": gettext_lazy("Crimp heights on the first piece"),
    "plan.first_piece_pulls": gettext_lazy("Pull tests on the first piece"),
    "plan.cross_sections": gettext_lazy("Cross-sections on the first piece"),
    "plan.sample_every": gettext_lazy("Sample every, pieces"),
    "plan.sample_every_minutes": gettext_lazy("Sample every, minutes"),
    "plan.sample_size": gettext_lazy("Pieces in a sample"),
    "plan.last_piece_pulls": gettext_lazy("Pull tests on the last piece"),
    "plan.inspector_signs": gettext_lazy("An inspector countersigns"),
    "plan.rework_allowed": gettext_lazy("Held pieces may be reworked"),
    "plan.criteria_left_out": gettext_lazy("Visual criteria left out"),
    "plan.criteria_added": gettext_lazy("Visual criteria added"),
    "job.number": gettext_lazy("Job"),
    "job.customer": gettext_lazy("Customer"),
    "job.part_number": gettext_lazy("Harness"),
    "job.part_name": gettext_lazy("Harness name"),
    "job.drawing": gettext_lazy("Drawing"),
    "job.drawing_revision": gettext_lazy("Drawing revision"),
    "job.quantity": gettext_lazy("Harnesses ordered"),
}
"""Every field of a sheet's content in words; a test goes through a full one."""


@dataclass(frozen=True, slots=True)
class ChangeLine:
    """One difference. what: the field in words, "added" or "removed"."""

    what: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class ChangeGroup:
    """What changed of one termination, or of the sheet itself."""

    title: str
    lines: list[ChangeLine]


def change_groups(old: SetupSheet, new: SetupSheet) -> list[ChangeGroup]:
    """The difference from `old` to `new`, termination by termination."""
    return _grouped(changes(sheet_content(old), sheet_content(new)))


def _grouped(found: Iterable[Change]) -> list[ChangeGroup]:
    groups: dict[str, list[ChangeLine]] = {}
    for change in found:
        title = _("Lead, end: {name}").format(name=change.termination) if change.termination else _("Sheet")
        whole = {"added": _("added"), "removed": _("removed")}
        what = _label(change.field) if change.kind == "changed" else whole[change.kind]
        groups.setdefault(title, []).append(ChangeLine(what, change.old, change.new))
    return [ChangeGroup(title, lines) for title, lines in groups.items()]


def _label(field: str) -> str:
    if field.startswith("plan.lines."):
        return _("Inspection of {characteristic}").format(characteristic=field.removeprefix("plan.lines."))
    return str(LABELS.get(field, field))


@dataclass(frozen=True, slots=True)
class ChangesPage:
    old: SetupSheet
    new: SetupSheet
    crumbs: list[Crumb]
    groups: list[ChangeGroup]
    others: list[SetupSheet]


@require_GET
def sheet_changes(request: HttpRequest, pk: int) -> HttpResponse:
    """What revision `pk` says otherwise than the one named by `from`: without it, than the revision before."""
    new = get_object_or_404(SetupSheet.objects.select_related("job__customer", "author"), pk=pk)
    others = list(
        SetupSheet.objects.filter(number=new.number).exclude(pk=pk).select_related("job__customer", "author").order_by("-revision")
    )
    asked = request.GET.get("from", "")
    old = next((sheet for sheet in others if (str(sheet.pk) == asked if asked else sheet.revision < new.revision)), None)
    if old is None:
        raise Http404
    page = ChangesPage(old=old, new=new, crumbs=crumbs_to(new.job, new), groups=change_groups(old, new), others=others)
    return render(request, "plan/changes.html", {"page": page, "place": "plan"})
