"""What a run found: per trim, per appliance, per analyser period, per gas area and month.

All of it is derived and replaceable; the readings are the truth.
"""

from django.db import models

from analytics.models.runs import DriftRun
from analytics.querysets import EstimateQuerySet
from common.constraints import finite, one_of
from fleet.models import AnalyserPeriod, Appliance, Burner, GasArea, TrimKind


class Unit(models.TextChoices):
    """Of a trim's state; its changes are per year."""

    PCT_OF_K = "pct_k", "% of K"
    PASCAL = "pa", "Pa"
    MILLI_W = "milli_w", "1e-3 of w"


class Reason(models.TextChoices):
    """Why a trim has no estimate."""

    NOT_PREMIX = "not_premix", "not a premix burner with pneumatic ratio control"
    NO_READINGS = "no_readings", "no usable reading"
    ONE_VISIT = "one_visit", "only one visit in the trim's present state"
    TWO_VISITS = "two_visits", "only two visits in the trim's present state"
    IDENTICAL = "identical_readings", "every visit repeats the same values"
    NO_LOW_FIRE = "low_fire_not_read", "low fire was read on fewer than three visits, or its rate is unknown"
    NO_INTERVAL = "no_interval", "no interval between two readings of the trim's present state"


class TrimDrift(models.Model):
    """One trim of one burner: where it stands, how it drifts, and whether it wanders.

    state: throttle 100 ln K at the reference intake air; offset in the unit's own.   drift_…: per year with
    95 % interval.   moved_per_year, usual_per_year: typical movement in a year's interval, of this trim and
    of its peers.   from_analyser_per_year, from_gas_per_year: the part of what the readings show that the
    analysers' biases and the gas explain, in the same unit.
    """

    run = models.ForeignKey(DriftRun, on_delete=models.CASCADE, related_name="trims", db_index=False)
    appliance = models.ForeignKey(Appliance, on_delete=models.CASCADE, related_name="trim_drifts")
    burner = models.ForeignKey(Burner, on_delete=models.CASCADE, related_name="trim_drifts")
    trim = models.CharField(max_length=8, choices=TrimKind)
    unit = models.CharField(max_length=7, choices=Unit)
    visits = models.PositiveIntegerField(default=0)
    state = models.FloatField(null=True)
    state_u = models.FloatField(null=True)
    drift_per_year = models.FloatField(null=True)
    drift_low = models.FloatField(null=True)
    drift_high = models.FloatField(null=True)
    moved_per_year = models.FloatField(null=True)
    usual_per_year = models.FloatField(null=True)
    from_analyser_per_year = models.FloatField(null=True)
    from_gas_per_year = models.FloatField(null=True)
    wander_probability = models.FloatField(null=True)
    flagged = models.BooleanField(default=False, help_text="Responsible for its appliance being flagged.")
    change_points = models.JSONField(default=list, help_text="Jumps: day of the visit after, probability.")
    reason = models.CharField(max_length=20, choices=Reason, blank=True, help_text="Why no estimate.")

    objects = EstimateQuerySet.as_manager()

    class Meta:
        ordering = ["run_id", "burner_id", "-trim"]
        indexes = [
            models.Index(fields=["run", "-wander_probability"], name="trim_drift_ranked"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["run", "burner", "trim"], name="trim_drift_once"),
            one_of("trim_drift_trim", "trim", TrimKind.values),
            one_of("trim_drift_unit", "unit", ["pct_k", "pa", "milli_w"]),
            models.CheckConstraint(
                condition=models.Q(drift_per_year__isnull=False, reason="")
                | (models.Q(drift_per_year__isnull=True) & ~models.Q(reason="")),
                name="trim_drift_or_reason",
                violation_error_message="A trim has an estimate, or a reason for none.",
            ),
            *finite("trim_drift", ["state", "drift_per_year", "drift_low", "drift_high"]),
        ]

    def __str__(self) -> str:
        return f"{self.trim} of burner {self.burner_id}"


class ApplianceDrift(models.Model):
    """An appliance as a whole: whether any trim wanders, when it may leave its band, and a proposed visit.

    outside: rows `[day, probability]` of any point of any burner being outside its acceptance band.
    """

    class NextReason(models.TextChoices):
        OUTSIDE = "outside", "likely outside its acceptance band before the annual date"

    run = models.ForeignKey(DriftRun, on_delete=models.CASCADE, related_name="appliances", db_index=False)
    appliance = models.ForeignKey(Appliance, on_delete=models.CASCADE, related_name="drifts")
    wander_probability = models.FloatField(null=True, help_text="That at least one trim wanders.")
    flagged = models.BooleanField(default=False)
    outside = models.JSONField(default=list)
    next_visit_by = models.DateField(null=True)
    next_visit_reason = models.CharField(max_length=12, choices=NextReason, blank=True)
    cost_kwh = models.FloatField(
        null=True, help_text="Gas lost a year as found, all its burners; 95 % interval."
    )
    cost_low_kwh = models.FloatField(null=True)
    cost_high_kwh = models.FloatField(null=True)

    objects = EstimateQuerySet.as_manager()

    class Meta:
        ordering = ["run_id", "appliance_id"]
        indexes = [
            models.Index(fields=["run", "-wander_probability"], name="appliance_drift_ranked"),
            models.Index(
                fields=["run", "next_visit_by", "id"],
                name="appliance_drift_proposed",
                condition=models.Q(next_visit_by__isnull=False),
            ),
            models.Index(
                fields=["run", "-cost_kwh", "appliance"],
                name="appliance_drift_cost",
                condition=models.Q(cost_kwh__isnull=False),
            ),
        ]
        constraints = [
            models.UniqueConstraint(fields=["run", "appliance"], name="appliance_drift_once"),
            one_of("appliance_drift_next_reason", "next_visit_reason", ["", "outside"]),
            models.CheckConstraint(
                condition=models.Q(cost_kwh__isnull=True)
                | models.Q(cost_low_kwh__isnull=False, cost_high_kwh__isnull=False),
                name="appliance_drift_cost_has_interval",
            ),
        ]

    def __str__(self) -> str:
        return f"drift of appliance {self.appliance_id}"


class PeriodBias(models.Model):
    """One analyser period: reading minus truth at 9 % CO2, mean over the period's firing tests.

    weak: nothing but the prior says how much of it is the analyser and how much the gas.
    """

    run = models.ForeignKey(DriftRun, on_delete=models.CASCADE, related_name="biases", db_index=False)
    period = models.ForeignKey(AnalyserPeriod, on_delete=models.CASCADE, related_name="biases")
    bias_co2_pct = models.FloatField()
    bias_u_co2_pct = models.FloatField()
    readings = models.PositiveIntegerField()
    weak = models.BooleanField(default=True)
    visits = models.PositiveIntegerField(default=0)
    first_on = models.DateField(null=True)
    last_on = models.DateField(null=True)
    verdicts_changed = models.PositiveIntegerField(
        null=True,
        help_text="Tests as found that the bias put on the other side of a limit; recent periods only.",
    )

    objects = EstimateQuerySet.as_manager()

    class Meta:
        ordering = ["run_id", "period_id"]
        constraints = [
            models.UniqueConstraint(fields=["run", "period"], name="period_bias_once"),
            *finite("period_bias", ["bias_co2_pct", "bias_u_co2_pct"]),
        ]

    def __str__(self) -> str:
        return f"bias of period {self.period_id}"


class GasShift(models.Model):
    """One gas area's month: what its gas added to the mixture, in % of K, against the area's usual."""

    run = models.ForeignKey(DriftRun, on_delete=models.CASCADE, related_name="gas_shifts", db_index=False)
    gas_area = models.ForeignKey(GasArea, on_delete=models.CASCADE, related_name="shifts")
    month = models.DateField(help_text="Its first day.")
    shift_pct = models.FloatField()
    shift_u_pct = models.FloatField()
    readings = models.PositiveIntegerField()
    weak = models.BooleanField(default=True)

    objects = EstimateQuerySet.as_manager()

    class Meta:
        ordering = ["run_id", "gas_area_id", "month"]
        constraints = [
            models.UniqueConstraint(fields=["run", "gas_area", "month"], name="gas_shift_once"),
            *finite("gas_shift", ["shift_pct", "shift_u_pct"]),
        ]

    def __str__(self) -> str:
        return f"gas of area {self.gas_area_id} in {self.month:%Y-%m}"


class FleetMonth(models.Model):
    """One month's closed visits by their health as found: the words of a verdict, and those not judged."""

    run = models.ForeignKey(DriftRun, on_delete=models.CASCADE, related_name="months", db_index=False)
    month = models.DateField(help_text="Its first day, at the sites.")
    inside = models.PositiveIntegerField()
    probably_inside = models.PositiveIntegerField()
    probably_outside = models.PositiveIntegerField()
    outside = models.PositiveIntegerField()
    not_judged = models.PositiveIntegerField()

    objects = EstimateQuerySet.as_manager()

    class Meta:
        ordering = ["run_id", "month"]
        constraints = [models.UniqueConstraint(fields=["run", "month"], name="fleet_month_once")]

    def __str__(self) -> str:
        return f"{self.month:%Y-%m}"

    @property
    def judged(self) -> int:
        """Visits with a health."""
        return self.inside + self.probably_inside + self.probably_outside + self.outside

    @property
    def out_of_band_share(self) -> float | None:
        """Share of the judged that were rather outside than inside, 0 to 1."""
        return (self.probably_outside + self.outside) / self.judged if self.judged else None
