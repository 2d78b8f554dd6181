"""The studies about a gauge, a tool or a terminal, and those a person took part in, shown on their catalogue pages."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.translation import gettext as _

from inspection.study import Study, StudyState
from inspection.study_kinds.kind import Subject
from inspection.study_kinds.registry import KINDS
from shop.beside import Beside, BesideLine, Opening, register
from shop.people import Person
from shop.permissions import Deed, may

SHOWN = 20


def _line(study: Study) -> BesideLine:
    outcome = {StudyState.OPEN: "waiting", StudyState.ABANDONED: "conceded"}.get(StudyState(study.state), study.outcome or "undecided")
    kind = str(KINDS[study.kind].name) if study.kind in KINDS else study.kind
    return BesideLine(
        name=study.number,
        text=f"{study.title} ({kind})",
        url=reverse("studies:study", args=[study.number]),
        outcome=outcome,
        word=study.get_state_display(),
        at=study.closed_at or study.opened_at,
    )


def _section(rows: QuerySet[Study], openings: tuple[Opening, ...], words: str) -> Beside:
    found = list(rows.order_by("-opened_at", "-pk")[: SHOWN + 1])
    more = f"{reverse('studies:list')}?{urlencode({'q': words})}" if len(found) > SHOWN else ""
    return Beside("studies", _("Studies"), tuple(_line(study) for study in found[:SHOWN]), openings, more)


def about(subject: Subject, key: str) -> Callable[[Any, Person], Beside]:
    """Studies about an item; with a link to open each kind that needs one. key: the field of the item that names it."""

    def show(item: Any, person: Person) -> Beside:
        name = str(getattr(item, key))
        openings = tuple(
            Opening(str(kind.name), f"{reverse('studies:new', args=[kind.slug])}?{urlencode([(subject, name)])}")
            for kind in KINDS.values()
            if subject in kind.needs and may(person, Deed.RUN_STUDY)
        )
        return _section(Study.objects.filter(**{subject: item}), openings, name)

    return show


def taken_part(item: Person, person: Person) -> Beside | None:
    """Agreement studies that name the person; None where there is none. The names stand one a line in what was asked."""
    rows = Study.objects.filter(kind="inspectors", set_up__appraisers__icontains=item.name).order_by("-opened_at", "-pk")
    mine = [study.pk for study in rows if item.name in [line.strip() for line in study.set_up["appraisers"].splitlines()]]
    return _section(Study.objects.filter(pk__in=mine), (), item.name) if mine else None


def register_all() -> None:
    register("gauges", about("gauge", "asset_number"))
    register("tools", about("tool", "asset_number"))
    register("terminals", about("terminal", "part_number"))
    register("people", taken_part)
