"""Stations, where work is done, and the tablets that belong to them."""

from __future__ import annotations

import hashlib
from datetime import datetime

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.crib import Press
from shop.fields import key_field
from shop.people import Person
from shop.tools import Tool


class Station(models.Model):
    """A place where terminations are made: a press or a bench, with what is worked there.

    tool_kinds: kinds of tools, with commas between; empty with neither tools nor a press: everything is worked here.
    idle_minutes: after so long without a touch its tablets lock; empty: as the shop's setting says.
    """

    press_id: int | None
    code = key_field(_("code"), unique=True)
    name = models.CharField(_("name"), max_length=80)
    area = models.CharField(_("area"), max_length=60, blank=True)
    press = models.ForeignKey(Press, on_delete=models.PROTECT, related_name="stations", null=True, blank=True, verbose_name=_("press"))
    tool_kinds = models.CharField(_("tool kinds"), max_length=120, blank=True)
    own_tools = models.ManyToManyField(Tool, related_name="stations", blank=True, verbose_name=_("tools"))
    idle_minutes = models.PositiveSmallIntegerField(
        _("locks after minutes"), null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(480)]
    )
    is_active = models.BooleanField(_("in use"), default=True)

    class Meta:
        ordering = ["code"]
        verbose_name = _("station")

    def __str__(self) -> str:
        return self.code

    @property
    def kinds(self) -> tuple[str, ...]:
        return tuple(word for word in self.tool_kinds.split(", ") if word)

    @property
    def takes_everything(self) -> bool:
        return not self.kinds and self.press_id is None and not self.own_tools.exists()


def hash_of_token(token: str) -> str:
    """What the database keeps of the 256 random bits that a tablet carries."""
    return hashlib.sha256(token.encode()).hexdigest()


class TabletQuerySet(models.QuerySet["Tablet"]):
    def in_use(self) -> TabletQuerySet:
        return self.filter(enrolled_at__isnull=False, revoked_at__isnull=True)


class Tablet(models.Model):
    """A tablet that an administrator enrolled at a station.

    code_hash, code_until: of a one-time code that was handed out and not used yet. token_hash: of what the tablet carries in its cookie;
    neither the code nor the token stands in the database. revoked: it counts as no tablet of ours until it is enrolled again.
    """

    station_id: int
    name = key_field(_("name"), unique=True)
    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="tablets", verbose_name=_("station"))
    code_hash = models.CharField(max_length=64, blank=True, db_index=True, editable=False)
    code_until = models.DateTimeField(null=True, blank=True, editable=False)
    offered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", verbose_name=_("code made by"))
    offered_at = models.DateTimeField(_("code made"))
    token_hash = models.CharField(max_length=64, blank=True, editable=False)
    enrolled_at = models.DateTimeField(_("enrolled"), null=True, blank=True)
    enrolled_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    revoked_at = models.DateTimeField(_("revoked"), null=True, blank=True)
    revoked_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    revoked_because = models.CharField(_("because"), max_length=200, blank=True)
    last_seen_at = models.DateTimeField(_("last seen"), null=True, blank=True)

    objects = TabletQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        verbose_name = _("tablet")
        constraints = [
            models.CheckConstraint(
                condition=Q(enrolled_at__isnull=True, enrolled_by__isnull=True, token_hash="")
                | (Q(enrolled_at__isnull=False, enrolled_by__isnull=False) & ~Q(token_hash="")),
                name="tablet_enrolled_with_a_token",
            ),
            models.CheckConstraint(
                condition=Q(revoked_at__isnull=True, revoked_by__isnull=True) | Q(revoked_at__isnull=False, revoked_by__isnull=False),
                name="tablet_revoked_by_somebody",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_in_use(self) -> bool:
        return self.enrolled_at is not None and self.revoked_at is None

    def waits_for_code(self, at: datetime) -> bool:
        """Whether a code was handed out that still holds."""
        return bool(self.code_hash) and self.code_until is not None and at < self.code_until
