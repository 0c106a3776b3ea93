"""Findings: named judgements with a severity, what they rest on, and a life."""

from django.db import models

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
    OPEN = "open", "open"
    DONE = "done", "done"


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
    made_at = models.DateTimeField()

    objects = FindingQuerySet.as_manager()

    class Meta:
        ordering = ["visit_id", "id"]
        indexes = [
            models.Index(
                fields=["appliance"],
                name="finding_open",
                condition=models.Q(life="open", holds=True),
            )
        ]
        constraints = [
            models.UniqueConstraint(fields=["visit", "code", "subject"], name="finding_once"),
            one_of("finding_severity", "severity", Severity.values),
            one_of("finding_life", "life", Life.values),
            *finite("finding", ["value", "limit", "probability"]),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.subject}".strip()
