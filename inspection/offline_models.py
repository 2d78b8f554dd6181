"""What came from a tablet that had no connection: its acts with both clocks, what a person decided about those that did not fit any more,
and signatures that were given without the network and have to be confirmed."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inspection.batch_models import Batch, Sample
from shop.people import Person


class OfflineKind(models.TextChoices):
    """What can be done without the network. Closing cannot: its counts are only prepared."""

    OPEN = "open batch", _("open the batch")
    SCAN = "scan", _("scan")
    START = "start sample", _("start the sample")
    READING = "reading", _("reading")
    PULL = "pull", _("pull test")
    VISUAL = "visual", _("visual criteria")
    CROSS_SECTION = "cross-section", _("cross-section")
    CONCLUDE = "conclude", _("end of the sample")
    COUNTERSIGN = "countersign", _("approval by an inspector")
    HOLD = "hold", _("stop of the run")
    COUNTS = "counts", _("counts for closing")


class OfflineAct(models.Model):
    """One act of a tablet's outbox. tablet_time: what the tablet's clock showed; made_at: the same moment by the server's clock.

    set_aside: it did not fit any more, and a person decides; follows: it only waits behind that one.
    """

    key = models.CharField(max_length=64, unique=True)
    kind = models.CharField(max_length=16)
    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="offline_acts", null=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="offline_acts")
    sent_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    tablet = models.CharField(max_length=64, blank=True)
    content = models.JSONField()
    tablet_time = models.DateTimeField()
    made_at = models.DateTimeField()
    received_at = models.DateTimeField()
    skew_seconds = models.IntegerField()  # server's clock minus the tablet's, when it was sent
    set_aside = models.BooleanField()
    follows = models.ForeignKey("self", on_delete=models.PROTECT, related_name="followers", null=True)
    findings = models.JSONField(default=list)
    result = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering = ["pk"]
        verbose_name = _("act from a tablet")
        indexes = [models.Index(fields=["batch", "set_aside"], name="offline_act_of_batch")]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"


class OfflineDecision(models.Model):
    """What a person decided about an act that was set aside: taken over, or kept as a note only. Never changed."""

    act = models.OneToOneField(OfflineAct, on_delete=models.PROTECT, related_name="decision")
    taken_over = models.BooleanField()
    reason = models.CharField(max_length=300, blank=True)
    result = models.CharField(max_length=60, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=Q(taken_over=True) | ~Q(reason=""), name="offline_note_with_reason")]

    def __str__(self) -> str:
        return f"{self.act}: {'taken over' if self.taken_over else 'kept as a note'}"


class ClaimedSignature(models.Model):
    """A signature given without the network, where no PIN can be checked: it counts once the person confirms it with their PIN.

    content: exactly what was signed, as the confirmation signs it again.
    """

    sample = models.ForeignKey(Sample, on_delete=models.PROTECT, related_name="claims")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="claims")
    meaning = models.CharField(max_length=60)
    content = models.JSONField()
    content_sha256 = models.CharField(max_length=64)
    made_at = models.DateTimeField()
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        verbose_name = _("signature given without network")

    def __str__(self) -> str:
        return f"{self.sample}: {self.person}, {self.meaning}"


class ClaimAnswer(models.Model):
    """The person whose signature was claimed confirmed it, or said that it is not theirs. Never changed."""

    claim = models.OneToOneField(ClaimedSignature, on_delete=models.PROTECT, related_name="answer")
    confirmed = models.BooleanField()
    reason = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=Q(confirmed=True) | ~Q(reason=""), name="claim_refused_with_reason")]

    def __str__(self) -> str:
        return f"{self.claim}: {'confirmed' if self.confirmed else 'refused'}"
