"""Findings: named judgements with a severity, what they rest on, and a life."""

from django.conf import settings
from django.db import models
from django.db.models.functions import Now

from common.constraints import finite, one_of
from fleet.models import Appliance, Burner
from visits.models.visits import Visit
from visits.querysets import FindingQuerySet


class Severity(models.TextChoices):
    MAKE_SAFE = "make_safe", "make safe"
    ACT = "act", "act"
    ADVISE = "advise", "advise"
    NOTE = "note", "note"


class Life(models.TextChoices):
    """Where a finding stands. Open, quoted and accepted ask for something still; declined and done end it."""

    OPEN = "open", "open"
    QUOTED = "quoted", "quoted"
    ACCEPTED = "accepted", "accepted"
    DECLINED = "declined", "declined"
    DONE = "done", "done"


STANDING = (Life.OPEN, Life.QUOTED, Life.ACCEPTED)


class Finding(models.Model):
    """Unique per visit, code and subject. Judging again renews what it says, never its life.

    `holds` turns false when a later judgement of the same visit no longer finds it: withdrawn, still visible.
    """

    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="findings")
    appliance = models.ForeignKey(Appliance, on_delete=models.PROTECT, related_name="findings")
    burner = models.ForeignKey(
        Burner, on_delete=models.PROTECT, null=True, blank=True, related_name="findings"
    )
    code = models.CharField(max_length=40)
    subject = models.CharField(
        max_length=80, blank=True, help_text="test:KEY, change:KEY, burner:N or empty."
    )
    severity = models.CharField(max_length=9, choices=Severity)
    value = models.FloatField(null=True)
    limit = models.FloatField(null=True)
    unit = models.CharField(max_length=20, blank=True)
    probability = models.FloatField(null=True)
    rests_on = models.JSONField(default=dict)
    holds = models.BooleanField(default=True)
    life = models.CharField(max_length=8, choices=Life, default=Life.OPEN)
    done_on_visit = models.ForeignKey(
        Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="+", db_index=False
    )
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        db_index=False,
        help_text="Who sees to it.",
    )
    due_on = models.DateField(null=True, blank=True, help_text="By when it is to be seen to.")
    made_at = models.DateTimeField()

    objects = FindingQuerySet.as_manager()

    class Meta:
        ordering = ["visit_id", "id"]
        indexes = [
            # Whole: a prepared statement's parameters do not show that a partial one covers them.
            models.Index(fields=["life", "severity", "-id"], name="finding_life_severity"),
            # Partial all the same: what `open()` asks for is written into the statement, and few stand open.
            models.Index(
                fields=["severity", "-id"],
                name="finding_open_by_severity",
                condition=models.Q(holds=True, life__in=STANDING),
            ),
            models.Index(
                fields=["code", "-id"],
                name="finding_open_by_code",
                condition=models.Q(holds=True, life__in=STANDING),
            ),
        ]
        constraints = [
            models.UniqueConstraint(fields=["visit", "code", "subject"], name="finding_once"),
            one_of("finding_severity", "severity", Severity.values),
            one_of("finding_life", "life", Life.values),
            *finite("finding", ["value", "limit", "probability"]),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.subject}".strip()


class FindingLife(models.Model):
    """One step in a finding's life. Rows are only added; the finding's own columns repeat the last one.

    A finding that an import of history shows to be ended carries its visit and has no row here.
    """

    finding = models.ForeignKey(Finding, on_delete=models.CASCADE, related_name="steps")
    life = models.CharField(max_length=8, choices=Life)
    at = models.DateTimeField(db_default=Now())
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        help_text="Empty: a later visit ended it.",
    )
    visit = models.ForeignKey(
        Visit, on_delete=models.PROTECT, null=True, blank=True, related_name="+", help_text="Done on it."
    )
    said_by = models.CharField(
        max_length=120, blank=True, help_text="Who accepted or declined for the customer."
    )
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    due_on = models.DateField(null=True, blank=True)
    note = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ["finding_id", "id"]
        constraints = [
            one_of("finding_step_life", "life", Life.values),
            models.CheckConstraint(
                condition=models.Q(by__isnull=False) | models.Q(visit__isnull=False),
                name="finding_step_by_someone",
                violation_error_message="A step is taken by a person or on a visit.",
            ),
            models.CheckConstraint(
                condition=~models.Q(life="declined") | ~models.Q(said_by=""),
                name="finding_declined_by_someone",
                violation_error_message="A declined finding names who declined it.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.finding}: {self.life}"
