"""Who looked at what: one row for each opening of a record, kept apart from the ledger, which holds what happened and not who read it."""

from __future__ import annotations

from datetime import datetime

from django.db import models
from django.utils.translation import gettext_lazy as _

from shop.people import Person


class LookedAs(models.TextChoices):
    """In which way a thing was looked at."""

    RECORD = "record", _("record opened")
    TRACE = "trace", _("trace opened")
    TRAIL = "audit trail", _("audit trail opened")
    DOCUMENT = "document", _("document downloaded")
    EVIDENCE = "evidence", _("evidence downloaded")
    EXPORT = "export", _("exported")


class Door(models.TextChoices):
    PAGE = "page", _("page")
    API = "API", _("API")


class LookQuerySet(models.QuerySet["Look"]):
    def at_thing(self, kind: str, pk: int) -> LookQuerySet:
        """kind: as the ledger names it."""
        return self.filter(kind=kind, subject_id=pk)

    def within(self, begin: datetime | None, end: datetime | None) -> LookQuerySet:
        """From `begin` on and before `end`."""
        rows = self.filter(at__gte=begin) if begin else self
        return rows.filter(at__lt=end) if end else rows


class Look(models.Model):
    """A person looked at a thing. kind, subject_id, name: the thing as the ledger names it, the name as it was then; 0 for a whole list.

    Never changed: whoever could take a look out again could hide it.
    """

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="looks")
    at = models.DateTimeField()
    kind = models.CharField(max_length=40)
    subject_id = models.BigIntegerField()
    name = models.CharField(max_length=160)
    what = models.CharField(max_length=12, choices=LookedAs)
    door = models.CharField(max_length=4, choices=Door)

    objects = LookQuerySet.as_manager()

    class Meta:
        ordering = ["-at", "-pk"]
        verbose_name = _("look")
        verbose_name_plural = _("looks")
        indexes = [
            models.Index(fields=["kind", "subject_id", "-at"], name="look_thing"),
            models.Index(fields=["person", "-at"], name="look_person"),
            models.Index(fields=["-at", "-id"], name="look_time"),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.kind} {self.name}"
