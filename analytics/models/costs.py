"""What being out of tune costs in a year, burner by burner, as found at its last visit."""

from functools import cache

from django.db import models
from django.db.models import Q

from analytics.models.runs import DriftRun
from analytics.querysets import CostQuerySet
from combustion import fuels
from common.constraints import one_of, within
from fleet.models import AnalyserPeriod, Appliance, Burner, FuelSlug

PARTS = ("own", "analyser", "gas", "air", "flue", "response", "split", "use")
"""What the uncertainty of a cost is made of: its own, then what it shares with others."""
KWH_LIMIT = 1e10
_MJ_PER_KWH = 3.6


@cache
def _m3_per_kwh(fuel: str) -> float:
    """Asked for on every row, and the properties of a gas take half a millisecond."""
    return _MJ_PER_KWH / fuels.fuel(fuel).properties("15/15").gross_mj_m3


class NoCost(models.TextChoices):
    """Why a burner that was read has no figure."""

    RICH = "rich", "it burns at or beyond all its air: unsafe, and not to be reckoned as a saving"
    NO_TARGET = "no_target", "no target CO2 is on file for its model on this fuel"
    NO_FLUE_TEMP = "no_flue_temp", "no flue gas temperature was read"
    NO_USE = "no_use", "neither its input nor its yearly gas is on file"
    NOT_COMPUTABLE = "not_computable", "its readings lie outside what the flue-loss balance covers"


class UseSource(models.TextChoices):
    """Where the year's gas comes from."""

    APPLIANCE = "appliance", "stated for the appliance"
    PLANT = "plant", "stated for the plant, shared by input"
    ASSUMED = "assumed", "input times assumed hours at full load"


class PriceDuty(models.Model):
    """The one row that says whether prices were changed: owed while asked for more often than answered."""

    only = models.PositiveSmallIntegerField(primary_key=True, default=1)
    asked = models.PositiveBigIntegerField(default=0)
    answered = models.PositiveBigIntegerField(default=0)

    class Meta:
        verbose_name_plural = "price duties"
        constraints = [models.CheckConstraint(condition=Q(only=1), name="price_duty_one_row")]

    def __str__(self) -> str:
        return f"prices: {self.answered} of {self.asked}"


class TuningCost(models.Model):
    """Gas lost in a year by one burner as found, against its target: gross heat with its 95 % interval.

    Below 0 gas is saved, by less air than the target.   excess air in %, with analyser, gas and season taken
    off.   part_…: what one standard uncertainty makes of the figure, kWh, signed: a part named alike (and of
    the same analyser period, or gas area) is the same error in every burner; `part_own_kwh` is its own.
    """

    class Points(models.TextChoices):
        BOTH = "both", "high and low fire"
        HIGH = "high", "high fire only"
        LOW = "low", "low fire only"

    run = models.ForeignKey(DriftRun, on_delete=models.CASCADE, related_name="costs", db_index=False)
    appliance = models.ForeignKey(Appliance, on_delete=models.CASCADE, related_name="tuning_costs")
    burner = models.ForeignKey(Burner, on_delete=models.CASCADE, related_name="tuning_costs")
    period = models.ForeignKey(AnalyserPeriod, on_delete=models.SET_NULL, null=True, related_name="+")
    fuel = models.CharField(max_length=20, choices=FuelSlug)
    read_on = models.DateField(help_text="The visit as found.")
    points = models.CharField(
        max_length=4, choices=Points, help_text="Which were read; the other is inferred."
    )
    indicative = models.BooleanField(help_text="Not shown to be thermally steady, or no return temperature.")
    high_excess_air_pct = models.FloatField(null=True)
    low_excess_air_pct = models.FloatField(null=True)
    high_target_excess_air_pct = models.FloatField(null=True)
    low_target_excess_air_pct = models.FloatField(null=True)
    lost_pct = models.FloatField(null=True, help_text="Of the year's gas.")
    lost_u_pct = models.FloatField(null=True, help_text="Its standard uncertainty.")
    use_kwh = models.FloatField(null=True, help_text="The year's gas, gross heat.")
    use_source = models.CharField(max_length=9, choices=UseSource, blank=True)
    lost_kwh = models.FloatField(null=True)
    lost_low_kwh = models.FloatField(null=True)
    lost_high_kwh = models.FloatField(null=True)
    part_own_kwh = models.FloatField(null=True)
    part_analyser_kwh = models.FloatField(null=True)
    part_gas_kwh = models.FloatField(null=True)
    part_air_kwh = models.FloatField(null=True)
    part_flue_kwh = models.FloatField(null=True)
    part_response_kwh = models.FloatField(null=True)
    part_split_kwh = models.FloatField(null=True)
    part_use_kwh = models.FloatField(null=True)
    price_per_kwh = models.FloatField(null=True, help_text="Of gross heat; null where nobody has stated one.")
    currency = models.CharField(max_length=3, blank=True)
    reason = models.CharField(max_length=14, choices=NoCost, blank=True, help_text="Why there is no figure.")

    objects = CostQuerySet.as_manager()

    class Meta:
        ordering = ["run_id", "burner_id"]
        indexes = [
            models.Index(
                fields=["run", "-lost_kwh", "id"],
                name="tuning_cost_ranked",
                condition=Q(lost_kwh__isnull=False),
            ),
            models.Index(
                fields=["run", "id"], name="tuning_cost_unknown", condition=Q(lost_kwh__isnull=True)
            ),
        ]
        constraints = [
            models.UniqueConstraint(fields=["run", "burner"], name="tuning_cost_once"),
            one_of("tuning_cost_fuel", "fuel", FuelSlug.values),
            one_of("tuning_cost_points", "points", ["both", "high", "low"]),
            one_of("tuning_cost_use_source", "use_source", ["", *UseSource.values]),
            models.CheckConstraint(
                condition=Q(reason="", lost_kwh__isnull=False, lost_low_kwh__isnull=False)
                & Q(lost_high_kwh__isnull=False)
                | (Q(lost_kwh__isnull=True) & ~Q(reason="")),
                name="tuning_cost_or_reason",
                violation_error_message="A cost stands with its interval, or there is a reason for none.",
            ),
            models.CheckConstraint(
                condition=Q(price_per_kwh__isnull=True, currency="")
                | (Q(price_per_kwh__isnull=False) & ~Q(currency="")),
                name="tuning_cost_price_has_currency",
            ),
            *(
                within(f"tuning_cost_{name}", name, -KWH_LIMIT, KWH_LIMIT)
                for name in ("lost_kwh", "lost_low_kwh", "lost_high_kwh", "use_kwh")
            ),
        ]

    def __str__(self) -> str:
        return f"tuning of burner {self.burner_id}"

    def worth(self, per_kwh: float | None) -> list[float] | None:
        """Loss with both ends of its interval, in what a kWh is worth; None without a figure or a worth."""
        ends = (self.lost_kwh, self.lost_low_kwh, self.lost_high_kwh)
        known = [end for end in ends if end is not None]
        return None if per_kwh is None or len(known) < len(ends) else [end * per_kwh for end in known]

    @property
    def co2_kg_per_kwh(self) -> float:
        """By the carbon in the fuel, per kWh of gross heat."""
        return fuels.fuel(self.fuel).co2_kg_per_kwh_gross

    @property
    def m3_per_kwh(self) -> float:
        """Gas at 15 °C and 1013.25 hPa per kWh of gross heat."""
        return _m3_per_kwh(self.fuel)
