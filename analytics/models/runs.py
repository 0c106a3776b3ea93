"""Runs of the drift work, which of them readers see, and what recomputing is owed."""

from django.db import models

from common.constraints import one_of

ENGINE_VERSION = 1
"""Raised when the statistics change what they answer for the same readings."""


class DriftRun(models.Model):
    """One reckoning of the whole fleet. Its rows are seen only once the pointer names it."""

    class Kind(models.TextChoices):
        NIGHTLY = "nightly", "nightly"
        IMPORT = "import", "after an import"
        COMMAND = "command", "asked for by a person"

    kind = models.CharField(max_length=8, choices=Kind)
    engine_version = models.PositiveSmallIntegerField(default=ENGINE_VERSION)
    started_at = models.DateTimeField()
    read_at = models.DateTimeField(null=True, help_text="Visits closed before this instant are in it.")
    finished_at = models.DateTimeField(null=True)
    as_of = models.DateField(help_text="The day that forecasts start from.")
    visits = models.PositiveIntegerField(default=0)
    firing_tests = models.PositiveIntegerField(default=0)
    burners = models.PositiveIntegerField(default=0)
    flagged_appliances = models.PositiveIntegerField(default=0)
    hyperparameters = models.JSONField(
        default=dict, help_text="What the statistics learnt of the fleet, for people to read."
    )
    tuning_cost = models.JSONField(
        default=dict, help_text="The fleet's cost of being out of tune: figures with their intervals."
    )
    priced_at = models.DateTimeField(null=True, help_text="Its money is at the prices stated by then.")
    kept = models.BinaryField(null=True, help_text="The same and more, held when one appliance is refitted.")

    alerted_at = models.DateTimeField(null=True, help_text="When it was looked through for alerts.")

    class Meta:
        ordering = ["-id"]
        constraints = [one_of("drift_run_kind", "kind", ["nightly", "import", "command"])]

    def __str__(self) -> str:
        return f"drift run {self.pk}"


class DriftPointer(models.Model):
    """The one row that says which run readers see, and which is being computed under a lease.

    The lease is renewed while a run works, so that one that died lets the next in.
    """

    only = models.PositiveSmallIntegerField(primary_key=True, default=1)
    current = models.ForeignKey(DriftRun, on_delete=models.PROTECT, null=True, related_name="+")
    computing = models.ForeignKey(DriftRun, on_delete=models.SET_NULL, null=True, related_name="+")
    lease_until = models.DateTimeField(null=True)

    class Meta:
        constraints = [models.CheckConstraint(condition=models.Q(only=1), name="drift_pointer_one_row")]

    def __str__(self) -> str:
        return f"current drift run: {self.current_id}"


class DriftDuty(models.Model):
    """A recompute that was asked for: once a night, or by an import. At most once each."""

    period = models.CharField(max_length=40, unique=True, help_text="The night's date, or import and event.")
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)
    run = models.ForeignKey(DriftRun, on_delete=models.SET_NULL, null=True, related_name="duties")

    class Meta:
        ordering = ["id"]
        indexes = [
            models.Index(fields=["id"], name="drift_duty_owed", condition=models.Q(finished_at=None)),
        ]

    def __str__(self) -> str:
        return self.period
