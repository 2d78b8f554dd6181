"""Questions that people keep: the address of a list or a search with what was asked in it, under a name of their own."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from shop.people import Person


class SavedSearchQuerySet(models.QuerySet["SavedSearch"]):
    def for_person(self, person: Person) -> SavedSearchQuerySet:
        """What this person sees: their own first, in their order, then what others share."""
        own = models.Case(models.When(owner=person, then=0), default=1, output_field=models.IntegerField())
        return self.filter(Q(owner=person) | Q(is_shared=True)).select_related("owner").order_by(own, "position", "name", "pk")


class SavedSearch(models.Model):
    """No record: it may be changed and deleted by whoever keeps it. path: the address without its query, to find it on its own page."""

    owner_id: int
    owner = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="saved_searches")
    name = models.CharField(_("name"), max_length=60)
    address = models.CharField(_("question"), max_length=500)
    path = models.CharField(max_length=200, db_index=True)
    is_shared = models.BooleanField(_("shown to everybody"), default=False)
    position = models.PositiveIntegerField(default=0)
    saved_at = models.DateTimeField()

    objects = SavedSearchQuerySet.as_manager()

    class Meta:
        ordering = ["position", "name"]
        verbose_name = _("saved question")
        verbose_name_plural = _("saved questions")
        constraints = [models.UniqueConstraint(fields=["owner", "name"], name="saved_search_name_once")]

    def __str__(self) -> str:
        return self.name
