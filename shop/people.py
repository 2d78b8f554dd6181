"""People: who may do what, how they sign, and what they are qualified for."""

from __future__ import annotations

from datetime import date, datetime
from typing import ClassVar

from django.contrib.auth.hashers import check_password, make_password
from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Q
from django.utils.functional import cached_property
from django.utils.translation import gettext_lazy as _

from shop.clock import now, shop_day
from shop.composed import Composed, Given
from shop.fields import key_validator


class Role(models.TextChoices):
    PLANNER = "planner", _("planner")
    OPERATOR = "operator", _("operator")
    INSPECTOR = "inspector", _("inspector")
    QUALITY = "quality", _("quality")
    CRIB = "tool crib", _("tool crib")
    AUDITOR = "auditor", _("auditor")
    ADMINISTRATOR = "administrator", _("administrator")


class Process(models.TextChoices):
    """What a person can be qualified for."""

    CRIMP = "crimp", _("crimp")
    STRIP = "strip", _("strip")
    INSPECT = "inspect", _("inspect")
    PULL_TEST = "pull test", _("pull test")
    CROSS_SECTION = "cross-section", _("cross-section")


class ToolKind(models.TextChoices):
    HAND_TOOL = "hand tool", _("hand tool")
    POWERED_HAND_TOOL = "powered hand tool", _("powered hand tool")
    APPLICATOR = "applicator", _("applicator")
    DIE_SET = "die set", _("die set")
    STRIPPER = "stripper", _("stripper")


class Display(models.TextChoices):
    METRIC = "metric", _("metric (mm, N)")
    INCH = "inch", _("inch and lbf")


class Language(models.TextChoices):
    """Names of languages stand in their own language."""

    ENGLISH = "en", "English"
    GERMAN = "de", "Deutsch"


class PeopleQuerySet(models.QuerySet["Person"]):
    def active(self) -> PeopleQuerySet:
        return self.filter(is_active=True)

    def with_role(self, role: Role) -> PeopleQuerySet:
        """Whose own role it is; stand-ins are not among them."""
        return self.filter(person_roles__role=role, person_roles__stands_in_for=None)


class PeopleManager(BaseUserManager["Person"]):
    def get_queryset(self) -> PeopleQuerySet:
        return PeopleQuerySet(self.model, using=self._db)

    def active(self) -> PeopleQuerySet:
        return self.get_queryset().active()

    def create_superuser(self, username: str, password: str | None = None, **fields: object) -> Person:
        """The first person of an empty shop (`manage.py createsuperuser`): an administrator."""
        person = self.model(username=username, **fields)
        person.set_password(password)
        person.save()
        PersonRole.objects.create(person=person, role=Role.ADMINISTRATOR)
        return person


class Person(AbstractBaseUser):
    """A named person of the shop. One person, one account, never reused: nobody is deleted, accounts are closed."""

    username = models.CharField(_("user name"), max_length=60, unique=True, validators=[key_validator])
    name = models.CharField(_("name as printed on records"), max_length=120)
    badge = models.CharField(
        _("badge"), max_length=60, unique=True, null=True, blank=True, validators=[RegexValidator(r"^[A-Za-z0-9\-]{4,60}$")]
    )  # null, not "": several people may have no badge, and the column is unique
    pin = models.CharField(max_length=255, blank=True, editable=False)  # a slow hash, never the PIN
    email = models.EmailField(blank=True)
    is_active = models.BooleanField(_("account open"), default=True)
    display = models.CharField(_("units shown"), max_length=10, choices=Display, default=Display.METRIC)
    language = models.CharField(_("language"), max_length=10, choices=Language, blank=True)  # empty: as the browser asks
    joined_at = models.DateTimeField(auto_now_add=True)
    must_change_secret = models.BooleanField(
        _("has to choose a new password and PIN"), default=False, editable=False
    )  # an administrator hands out a password once and must not know the one that signs
    failed_tries = models.PositiveIntegerField(default=0, editable=False)
    locked_until = models.DateTimeField(null=True, blank=True, editable=False)

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]

    objects = PeopleManager()

    class Meta:
        ordering = ["name"]
        verbose_name = _("person")
        verbose_name_plural = _("people")

    def __str__(self) -> str:
        return self.name

    @classmethod
    def system(cls) -> Person:
        """The system acts as a named person of its own, who cannot sign in and has no role."""
        person, _made = cls.objects.get_or_create(username="system", defaults={"name": "The system", "is_active": False})
        return person

    @cached_property
    def roles(self) -> frozenset[str]:
        if self.pk is None or not self.is_active:
            return frozenset()
        today = shop_day(now())
        # A list of people brings the roles along in one go.
        brought = self.__dict__.get("_prefetched_objects_cache", {}).get("person_roles")
        rows = _ROLES_OF(person=self.pk) if brought is None else brought
        return frozenset(row.role for row in rows if row.holds_on(today))

    def standing_in(self, on: date) -> list[tuple[str, str]]:
        """(role, name of the colleague) that this person stands in with on that day."""
        rows = self.person_roles.filter(stands_in_for__isnull=False, since__lte=on, until__gte=on).select_related("stands_in_for")
        return [(row.role, row.stands_in_for.name) for row in rows.order_by("role", "pk") if row.stands_in_for is not None]

    def set_pin(self, pin: str) -> None:
        self.pin = make_password(pin)

    def pin_matches(self, pin: str) -> bool:
        return bool(self.pin) and check_password(pin, self.pin)

    def is_locked(self, at: datetime) -> bool:
        return self.locked_until is not None and at < self.locked_until


class PersonRole(models.Model):
    """A role that a person holds; or one that they stand in with for somebody who is away, from a day until a day (both included)."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="person_roles")
    role = models.CharField(max_length=20, choices=Role)
    stands_in_for = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="stand_ins", null=True, blank=True, verbose_name=_("stands in for")
    )
    since = models.DateField(_("from"), null=True, blank=True)
    until = models.DateField(_("until"), null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["person", "role"], condition=Q(stands_in_for=None), name="role_once_per_person"),
            models.CheckConstraint(
                condition=Q(stands_in_for=None, since=None, until=None)
                | Q(stands_in_for__isnull=False, since__isnull=False, until__isnull=False),
                name="stand_in_has_its_days",
                violation_error_code="data.invalid",
                violation_error_message=_("Whoever stands in for somebody does so from a day until a day."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.role}"

    def holds_on(self, day: date) -> bool:
        return self.since is None or self.until is None or self.since <= day <= self.until


_ROLES_OF = Composed(lambda: PersonRole.objects.filter(person=Given("person")))


class QualificationQuerySet(models.QuerySet["Qualification"]):
    def current(self, on: date) -> QualificationQuerySet:
        return (
            self.filter(granted_on__lte=on)
            .filter(Q(expires_on__isnull=True) | Q(expires_on__gte=on))
            .filter(Q(withdrawn_on__isnull=True) | Q(withdrawn_on__gt=on))
        )


class Qualification(models.Model):
    """Evidence that a person was trained and examined for a process, from a day until a day."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="qualifications", verbose_name=_("person"))
    process = models.CharField(_("process"), max_length=20, choices=Process)
    tool_kind = models.CharField(_("tool kind"), max_length=20, choices=ToolKind, blank=True, help_text=_("Empty: any kind of tool."))
    granted_on = models.DateField(_("granted"))
    expires_on = models.DateField(_("expires"), null=True, blank=True)
    withdrawn_on = models.DateField(_("withdrawn"), null=True, blank=True)
    trainer = models.CharField(_("trainer"), max_length=120)
    evidence = models.CharField(_("evidence"), max_length=200, help_text=_("Certificate or test record number."))

    objects = QualificationQuerySet.as_manager()

    class Meta:
        ordering = ["person__name", "process", "tool_kind", "-granted_on"]
        verbose_name = _("qualification")
        constraints = [
            models.UniqueConstraint(fields=["person", "process", "tool_kind", "granted_on"], name="qualification_once_a_day"),
            models.CheckConstraint(
                condition=Q(expires_on__isnull=True) | Q(expires_on__gte=models.F("granted_on")),
                name="qualification_expires_after_grant",
                violation_error_code="data.dates.order",
                violation_error_message=_("The expiry date lies before the date it was granted."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}: {self.process} {self.tool_kind}".strip()

    def is_current(self, on: date) -> bool:
        return (
            self.granted_on <= on
            and (self.expires_on is None or on <= self.expires_on)
            and (self.withdrawn_on is None or on < self.withdrawn_on)
        )
