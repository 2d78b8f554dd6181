"""Acceptance of lots by sampling: what is sampled how, and every lot that was looked at."""

from __future__ import annotations

from decimal import Decimal

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from inspection.batch_models import Batch
from inspection.sampling.single import Level, Severity
from inspection.sampling.switching import Route, State
from shop.fields import key_field, positive
from shop.materials import Terminal, TerminalLot, Wire, WireLot
from shop.people import Person


class SampledThing(models.TextChoices):
    TERMINAL_LOTS = "terminal lots", _("lots of a terminal")
    WIRE_LOTS = "wire lots", _("lots of a wire")
    BATCHES = "batches", _("batches crimped with a terminal")


class PlanBasis(models.TextChoices):
    TABLE = "table", _("by AQL, from the tables")
    ZERO = "none allowed", _("none allowed, by the consumer's risk")
    OWN = "own", _("own sample size and acceptance number")


ROUTES = [
    (Route.LIMIT_NUMBERS.value, _("ten lots accepted, within the limit number (MIL-STD-105E)")),
    (Route.SCORE.value, _("switching score (ISO 2859-1:1999, from memory)")),
    (Route.NEVER.value, _("never: not agreed")),
]


class SamplingScheme(models.Model):
    """How the lots of one part are sampled for one thing. It is not changed: another one takes its place.

    basis: "table" needs level and AQL; "none allowed" needs the quality (percent nonconforming) that is accepted with at most `risk`
    percent; "own" needs n and ac. reduced_by: how inspection gets to reduced, which the responsible authority agrees to by opening it.
    """

    number = key_field(_("scheme"), unique=True)
    name = models.CharField(_("name"), max_length=120)
    thing = models.CharField(_("what is sampled"), max_length=20, choices=SampledThing)
    terminal = models.ForeignKey(Terminal, on_delete=models.PROTECT, related_name="sampling_schemes", null=True, blank=True)
    wire = models.ForeignKey(Wire, on_delete=models.PROTECT, related_name="sampling_schemes", null=True, blank=True)
    criterion = models.CharField(_("looked at for"), max_length=300)
    basis = models.CharField(_("plan"), max_length=20, choices=PlanBasis)
    level = models.CharField(_("inspection level"), max_length=4, choices=[(one.value, one.value) for one in Level], blank=True)
    aql = models.DecimalField(_("AQL"), max_digits=8, decimal_places=3, null=True, blank=True)
    start = models.CharField(
        _("starts on"), max_length=12, choices=[(one.value, one.value) for one in Severity], default=Severity.NORMAL.value
    )
    reduced_by = models.CharField(_("to reduced inspection by"), max_length=20, choices=ROUTES, default=Route.NEVER.value)
    quality = models.DecimalField(_("quality to be refused, %"), max_digits=7, decimal_places=4, null=True, blank=True)
    risk = models.DecimalField(_("risk of accepting it, %"), max_digits=6, decimal_places=3, null=True, blank=True)
    own_n = models.PositiveIntegerField(_("sample size"), null=True, blank=True)
    own_ac = models.PositiveIntegerField(_("acceptance number"), null=True, blank=True)
    reason = models.CharField(_("why so"), max_length=300)
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_because = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["pk"]
        verbose_name = _("sampling scheme")
        constraints = [
            models.CheckConstraint(
                condition=Q(thing="wire lots", wire__isnull=False, terminal__isnull=True)
                | (~Q(thing="wire lots") & Q(terminal__isnull=False, wire__isnull=True)),
                name="sampling_scheme_is_of_one_part",
            ),
            models.CheckConstraint(
                condition=(Q(basis="table", aql__isnull=False) & ~Q(level=""))
                | Q(basis="none allowed", quality__isnull=False, risk__isnull=False)
                | Q(basis="own", own_n__isnull=False, own_ac__isnull=False),
                name="sampling_scheme_has_its_plan",
            ),
            models.CheckConstraint(condition=Q(own_n__isnull=True) | Q(own_ac__lt=F("own_n")), name="sampling_scheme_can_refuse"),
            positive("aql", "sampling_scheme_aql_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"

    @property
    def part(self) -> Terminal | Wire:
        part = self.terminal or self.wire
        if part is None:
            raise AssertionError("the database lets no such row in")
        return part

    @property
    def switches(self) -> bool:
        """Whether it has severities at all."""
        return self.basis == PlanBasis.TABLE

    @property
    def counts_pieces(self) -> bool:
        """Nonconforming pieces are counted; above AQL 10 nonconformities are, of which a piece can have several."""
        return self.aql is None or self.aql <= Decimal(10)


class LotInspection(models.Model):
    """One lot looked at, signed: the plan used, what was found, and what followed."""

    scheme = models.ForeignKey(SamplingScheme, on_delete=models.PROTECT, related_name="inspections")
    number = models.PositiveIntegerField()
    terminal_lot = models.ForeignKey(TerminalLot, on_delete=models.PROTECT, related_name="inspections", null=True, blank=True)
    wire_lot = models.ForeignKey(WireLot, on_delete=models.PROTECT, related_name="inspections", null=True, blank=True)
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="lot_inspections", null=True, blank=True)
    lot_size = models.PositiveIntegerField(_("pieces in the lot"))
    severity = models.CharField(_("severity"), max_length=12, choices=[(one.value, one.value) for one in State])
    code_letter = models.CharField(max_length=2, blank=True)
    n = models.PositiveIntegerField(_("looked at"))
    ac = models.PositiveIntegerField()
    re = models.PositiveIntegerField()
    ac_tighter = models.PositiveIntegerField(null=True, blank=True)  # of the next tighter AQL, for the switching score
    found = models.PositiveIntegerField(_("found nonconforming"))
    defects = models.CharField(_("what was found"), max_length=500, blank=True)
    resubmitted = models.BooleanField(_("presented again"), default=False)
    irregular = models.CharField(_("what was irregular in its production"), max_length=200, blank=True)
    accepted = models.BooleanField()
    severity_after = models.CharField(max_length=12, choices=[(one.value, one.value) for one in State])
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["scheme", "number"]
        verbose_name = _("lot inspection")
        constraints = [
            models.UniqueConstraint(fields=["scheme", "number"], name="lot_inspection_number_once"),
            models.CheckConstraint(
                condition=Q(terminal_lot__isnull=False, wire_lot__isnull=True, batch__isnull=True)
                | Q(terminal_lot__isnull=True, wire_lot__isnull=False, batch__isnull=True)
                | Q(terminal_lot__isnull=True, wire_lot__isnull=True, batch__isnull=False),
                name="lot_inspection_is_of_one_lot",
            ),
            models.CheckConstraint(condition=Q(n__gte=1, n__lte=F("lot_size"), ac__lt=F("re")), name="lot_inspection_plan_makes_sense"),
            models.CheckConstraint(
                condition=Q(accepted=True, found__lt=F("re")) | Q(accepted=False, found__gte=F("re")), name="lot_inspection_outcome_follows"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.scheme.number} no. {self.number}"

    @property
    def lot(self) -> TerminalLot | WireLot | Batch:
        lot = self.terminal_lot or self.wire_lot or self.batch
        if lot is None:
            raise AssertionError("the database lets no such row in")
        return lot
