"""The table in which the search looks: one row for each thing that can be found."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class SearchEntry(models.Model):
    """A thing as the search knows it; made from its own row and made anew from it at any time, so that it proves nothing and may be lost.

    kind: a key of `search_kinds.KINDS`. name: as it is called and found in its address; note: what else is shown; compact, spelled, words:
    see `search_words`; alias: another number of its own, compact (a badge, a serial).
    """

    kind = models.CharField(max_length=24)
    subject_id = models.BigIntegerField()
    name = models.CharField(max_length=160)
    note = models.CharField(max_length=240, blank=True)
    compact = models.CharField(max_length=160)
    spelled = models.CharField(max_length=160)
    alias = models.CharField(max_length=160, blank=True)
    words = models.TextField()

    class Meta:
        verbose_name = _("thing that can be found")
        verbose_name_plural = _("things that can be found")
        constraints = [models.UniqueConstraint(fields=["kind", "subject_id"], name="search_entry_once")]
        indexes = [
            # For beginnings of numbers; the operator class makes them comparable byte by byte, whatever the database's language.
            models.Index(fields=["kind", "compact"], name="search_compact", opclasses=["varchar_pattern_ops", "varchar_pattern_ops"]),
            models.Index(fields=["kind", "spelled"], name="search_spelled", opclasses=["varchar_pattern_ops", "varchar_pattern_ops"]),
            models.Index(fields=["alias"], condition=~models.Q(alias=""), name="search_alias"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.name}"
