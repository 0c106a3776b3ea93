"""Flue-gas analysers: what each channel measures, and the periods between calibrations."""

import uuid

from django.db import models

from common.constraints import finite, one_of, ordered, within
from fleet.models.catalogue import FuelSlug


class Analyser(models.Model):
    """A portable analyser. Most measure O2 and work CO2 out from a fuel setting."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    tag = models.CharField(max_length=80, unique=True)
    serial = models.CharField(max_length=80, blank=True, db_index=True)
    type_name = models.CharField(max_length=80, blank=True)
    fuel_setting = models.CharField(
        max_length=20, choices=FuelSlug, blank=True, help_text="Empty: set to the fuel of each appliance."
    )
    settle_s = models.FloatField(
        default=60, help_text="Time to settle after a change. 30 to 90 s: common practice, no source."
    )
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["tag"]
        constraints = [
            one_of("analyser_fuel_setting", "fuel_setting", ["", *FuelSlug.values]),
            within("analyser_settle", "settle_s", 1, 600),
        ]

    def __str__(self) -> str:
        return self.tag


class AnalyserChannel(models.Model):
    """One channel: measured or derived, and its declared accuracy (limits of error, not standard deviations).

    The limit of error at a value is the larger of `accuracy_abs` and `accuracy_rel` times the value.
    """

    class Quantity(models.TextChoices):
        O2_PCT = "o2_pct", "O2, dry vol %"
        CO2_PCT = "co2_pct", "CO2, dry vol %"
        CO_PPM = "co_ppm", "CO, dry ppm"
        NOX_PPM = "nox_ppm", "NOx, dry ppm"
        FLUE_TEMP_C = "flue_temp_c", "flue temperature, °C"
        AIR_TEMP_C = "air_temp_c", "air temperature, °C"
        PRESSURE_MBAR = "pressure_mbar", "pressure, mbar"

    class Source(models.TextChoices):
        MEASURED = "measured", "measured"
        DERIVED = "derived", "derived"
        UNKNOWN = "unknown", "not known: counts as derived"

    analyser = models.ForeignKey(Analyser, on_delete=models.CASCADE, related_name="channels")
    quantity = models.CharField(max_length=14, choices=Quantity)
    source = models.CharField(max_length=8, choices=Source, default=Source.UNKNOWN)
    accuracy_abs = models.FloatField(null=True, blank=True)
    accuracy_rel = models.FloatField(null=True, blank=True)
    resolution = models.FloatField(null=True, blank=True)
    range_high = models.FloatField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["analyser", "quantity"], name="channel_once_per_quantity"),
            one_of(
                "channel_quantity",
                "quantity",
                ["o2_pct", "co2_pct", "co_ppm", "nox_ppm", "flue_temp_c", "air_temp_c", "pressure_mbar"],
            ),
            one_of("channel_source", "source", ["measured", "derived", "unknown"]),
            within("channel_accuracy_abs", "accuracy_abs", 0, 1000),
            within("channel_accuracy_rel", "accuracy_rel", 0, 1),
            within("channel_resolution", "resolution", 0, 100),
            within("channel_range", "range_high", 0, 100_000),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} of {self.analyser}"


class AnalyserPeriod(models.Model):
    """One analyser between two calibrations or sensor changes, with the bias the fleet's readings show.

    The bias columns are written by the drift work: reading minus truth at 9 % CO2, of the measured channel.
    `bias_*` is what the newest run found; `applied_*` is what judgements take off: only where it is material,
    and unchanged from one run to the next until it moves by more than matters.
    """

    class Began(models.TextChoices):
        CALIBRATION = "calibration", "calibration"
        SENSOR_CHANGE = "sensor_change", "sensor change"
        UNKNOWN = "unknown", "not known"

    analyser = models.ForeignKey(Analyser, on_delete=models.PROTECT, related_name="periods")
    began = models.CharField(max_length=14, choices=Began, default=Began.CALIBRATION)
    starts_on = models.DateField(null=True, blank=True, help_text="Empty: before anything recorded.")
    calibration_due_on = models.DateField(null=True, blank=True)
    certificate = models.CharField(max_length=80, blank=True)
    bias_co2_pct = models.FloatField(null=True, editable=False)
    bias_u_co2_pct = models.FloatField(null=True, editable=False)
    bias_readings = models.PositiveIntegerField(default=0, editable=False)
    bias_weak = models.BooleanField(default=True, editable=False)
    bias_run = models.BigIntegerField(null=True, editable=False)
    applied_bias_co2_pct = models.FloatField(null=True, editable=False)
    applied_bias_u_co2_pct = models.FloatField(null=True, editable=False)
    applied_bias_run = models.BigIntegerField(
        null=True, editable=False, help_text="The run whose bias judgements take off. Empty: none."
    )

    class Meta:
        ordering = ["analyser_id", models.F("starts_on").asc(nulls_first=True)]
        constraints = [
            models.UniqueConstraint(fields=["analyser", "starts_on"], name="period_start_once"),
            models.UniqueConstraint(
                fields=["analyser"],
                condition=models.Q(starts_on__isnull=True),
                name="period_unknown_start_once",
            ),
            one_of("period_began", "began", ["calibration", "sensor_change", "unknown"]),
            ordered("period_due_after_start", "starts_on", "calibration_due_on"),
            *finite("period", ["bias_co2_pct", "bias_u_co2_pct"]),
            models.CheckConstraint(
                condition=models.Q(
                    applied_bias_run__isnull=True,
                    applied_bias_co2_pct__isnull=True,
                    applied_bias_u_co2_pct__isnull=True,
                )
                | models.Q(
                    applied_bias_run__isnull=False,
                    applied_bias_co2_pct__isnull=False,
                    applied_bias_u_co2_pct__isnull=False,
                ),
                name="period_applied_bias_whole",
            ),
            *finite("period", ["applied_bias_co2_pct", "applied_bias_u_co2_pct"]),
        ]

    def __str__(self) -> str:
        return f"{self.analyser} from {self.starts_on or 'the beginning'}"
