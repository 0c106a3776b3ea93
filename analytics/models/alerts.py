"""What the office is told of: one row per cause, however many visits show it."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from analytics.models.runs import DriftRun
from analytics.querysets import AlertQuerySet
from common.constraints import finite, one_of
from fleet.models import AnalyserPeriod, Appliance, GasArea


class Alert(models.Model):
    """A cause that holds, or held: who was told, and who has acknowledged it.

    cause: names the cause, so that a later visit or run that shows it again finds the row. One that ceases
    and comes back within half a year is the same cause. value, low, high: as of the last run that saw it.
    """

    class Kind(models.TextChoices):
        WANDERER = "wanderer", "a trim wanders"
        ANALYSER = "analyser", "an analyser is off"
        GAS = "gas", "an area's gas has shifted"
        OUTSIDE = "outside", "likely outside its band before the annual date"

    kind = models.CharField(max_length=8, choices=Kind)
    cause = models.CharField(max_length=80)
    appliance = models.ForeignKey(Appliance, on_delete=models.CASCADE, null=True, related_name="alerts")
    period = models.ForeignKey(AnalyserPeriod, on_delete=models.CASCADE, null=True, related_name="alerts")
    gas_area = models.ForeignKey(GasArea, on_delete=models.CASCADE, null=True, related_name="alerts")
    value = models.FloatField(help_text="Probability, or bias in % CO2, or shift in % of K.")
    low = models.FloatField(null=True)
    high = models.FloatField(null=True)
    day = models.DateField(null=True, help_text="The gas's month, or the day by which to come.")
    holds = models.BooleanField(default=True)
    raised_at = models.DateTimeField(db_default=Now())
    raised_by = models.ForeignKey(DriftRun, on_delete=models.SET_NULL, null=True, related_name="+")
    ceased_at = models.DateTimeField(null=True)
    mailed_at = models.DateTimeField(null=True)
    acknowledged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    acknowledged_at = models.DateTimeField(null=True)
    note = models.CharField(max_length=400, blank=True)

    objects = AlertQuerySet.as_manager()

    class Meta:
        ordering = ["-id"]
        indexes = [
            models.Index(fields=["-id"], name="alert_waiting", condition=Q(holds=True, acknowledged_at=None)),
            models.Index(fields=["id"], name="alert_unmailed", condition=Q(mailed_at=None)),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "cause"], condition=Q(holds=True), name="alert_once_per_cause"
            ),
            one_of("alert_kind", "kind", ["wanderer", "analyser", "gas", "outside"]),
            models.CheckConstraint(
                condition=Q(kind__in=["wanderer", "outside"], appliance__isnull=False)
                | Q(kind="analyser", period__isnull=False)
                | Q(kind="gas", gas_area__isnull=False),
                name="alert_names_its_subject",
            ),
            models.CheckConstraint(
                condition=Q(acknowledged_by__isnull=True, acknowledged_at__isnull=True)
                | Q(acknowledged_by__isnull=False, acknowledged_at__isnull=False),
                name="alert_acknowledged_by_someone",
            ),
            *finite("alert", ["value", "low", "high"]),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.cause}"
