"""Sums over the fleet that pages show, made once in a run rather than on each request."""

from django.conf import settings
from django.db import models

from analytics.models.runs import DriftRun
from analytics.querysets import EstimateQuerySet
from common.constraints import finite, one_of
from fleet.models import Appliance, ApplianceModel, Burner, TrimKind


class ModelAgeing(models.Model):
    """How one trim of one model drifts at one age: the mean over its burners, weighted by what each is worth.

    drift: per year, in the unit; 95 % interval, empty below three burners.   age_from: whole years since
    installation, the first of a band; -1 where the installation is not on file, -2 for all ages together.
    """

    run = models.ForeignKey(DriftRun, on_delete=models.CASCADE, related_name="ageing", db_index=False)
    model = models.ForeignKey(ApplianceModel, on_delete=models.CASCADE, related_name="ageing")
    trim = models.CharField(max_length=8, choices=TrimKind)
    unit = models.CharField(max_length=7)
    age_from = models.SmallIntegerField()
    burners = models.PositiveIntegerField()
    flagged = models.PositiveIntegerField(help_text="Burners whose trim wanders.")
    drift = models.FloatField()
    drift_low = models.FloatField(null=True)
    drift_high = models.FloatField(null=True)
    moved = models.FloatField(help_text="Median movement a year.")

    objects = EstimateQuerySet.as_manager()

    class Meta:
        ordering = ["run_id", "model_id", "-trim", "unit", "age_from"]
        constraints = [
            models.UniqueConstraint(
                fields=["run", "model", "trim", "unit", "age_from"], name="model_ageing_once"
            ),
            one_of("model_ageing_trim", "trim", TrimKind.values),
            one_of("model_ageing_unit", "unit", ["pct_k", "pa", "milli_w"]),
            *finite("model_ageing", ["drift", "drift_low", "drift_high", "moved"]),
        ]

    def __str__(self) -> str:
        return f"{self.trim} of {self.model_id} from {self.age_from} years"


class TechnicianRepeat(models.Model):
    """How closely one person's readings repeat: as left against as found where nothing was moved between.

    sd_co2_pct: standard deviation of one reading, CO2 dry vol %, with its 95 % interval (chi-squared).
    """

    run = models.ForeignKey(DriftRun, on_delete=models.CASCADE, related_name="repeats", db_index=False)
    technician = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    pairs = models.PositiveIntegerField()
    sd_co2_pct = models.FloatField()
    sd_low_co2_pct = models.FloatField()
    sd_high_co2_pct = models.FloatField()

    objects = EstimateQuerySet.as_manager()

    class Meta:
        ordering = ["run_id", "technician_id"]
        constraints = [
            models.UniqueConstraint(fields=["run", "technician"], name="technician_repeat_once"),
            *finite("technician_repeat", ["sd_co2_pct", "sd_low_co2_pct", "sd_high_co2_pct"]),
        ]

    def __str__(self) -> str:
        return f"repeatability of {self.technician_id}"


class BurnerTrend(models.Model):
    """One quantity of one burner that surely trends, or whose level changed, by an amount of consequence.

    Per year in the quantity's unit with Sen's 95 % interval; where `step` is told, on `step_on` and after,
    there is no slope. passes_on: when the line passes its limit, within five years.
    """

    class Code(models.TextChoices):
        APPROACH_K = "approach_k", "flue minus return temperature, K"
        RATE_PCT = "rate_pct", "gas rate over nameplate, %"
        FLAME_SIGNAL_UA = "flame_signal_ua", "flame signal, µA"
        INLET_PRESSURE_MBAR = "inlet_pressure_mbar", "working inlet pressure, mbar"
        CO_AIR_FREE_PPM = "co_air_free_ppm", "CO, air-free, ppm"
        FAN_RPM = "fan_rpm", "fan speed at high fire, 1/min"

    run = models.ForeignKey(DriftRun, on_delete=models.CASCADE, related_name="burner_trends", db_index=False)
    appliance = models.ForeignKey(Appliance, on_delete=models.CASCADE, related_name="trends")
    burner = models.ForeignKey(Burner, on_delete=models.CASCADE, related_name="trends")
    quantity = models.CharField(max_length=19, choices=Code)
    readings = models.PositiveIntegerField()
    level = models.FloatField(help_text="At the last reading.")
    slope = models.FloatField(null=True)
    slope_low = models.FloatField(null=True)
    slope_high = models.FloatField(null=True)
    step = models.FloatField(null=True)
    step_on = models.DateField(null=True)
    limit = models.FloatField(null=True, help_text="Passed first; of CO the safety limit anyway.")
    limit_source = models.CharField(max_length=200, blank=True)
    passes_on = models.DateField(null=True)
    passes_earliest_on = models.DateField(null=True)
    strength = models.FloatField(help_text="Slope (or step) over what is of no consequence, for the order.")

    objects = EstimateQuerySet.as_manager()

    class Meta:
        ordering = ["run_id", "burner_id", "quantity"]
        indexes = [models.Index(fields=["run", "-strength", "id"], name="burner_trend_strength")]
        constraints = [
            models.UniqueConstraint(fields=["run", "burner", "quantity"], name="burner_trend_once"),
            one_of(
                "burner_trend_quantity",
                "quantity",
                [
                    "approach_k",
                    "rate_pct",
                    "flame_signal_ua",
                    "inlet_pressure_mbar",
                    "co_air_free_ppm",
                    "fan_rpm",
                ],
            ),
            *finite(
                "burner_trend", ["level", "slope", "slope_low", "slope_high", "step", "limit", "strength"]
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of burner {self.burner_id}"
