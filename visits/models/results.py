"""What the engine makes of a firing test. Derived and replaceable; the readings are the truth."""

from django.db import models

from common.constraints import finite, one_of
from fleet.models import FiringSpec
from visits.models.tests import FiringTest

QUANTITIES = (
    "air_ratio",
    "excess_air_pct",
    "o2_pct",
    "co2_pct",
    "co_air_free_ppm",
    "co_co2_ratio",
    "dew_point_c",
    "condensed_pct",
    "sensible_loss_gross_pct",
    "latent_loss_gross_pct",
    "efficiency_gross_pct",
    "efficiency_net_pct",
)


class TestResult(models.Model):
    """One row per test and engine version, naming the bias run it used.

    `u_` columns are standard uncertainties. Compositions are dry; losses and efficiencies have their basis in
    their name; `accept_*` are the limits that `p_inside` was reckoned against.
    """

    __test__ = False  # not a test case, whatever its name begins with

    class Verdict(models.TextChoices):
        INSIDE = "inside", "inside"
        PROBABLY_INSIDE = "probably_inside", "probably inside"
        PROBABLY_OUTSIDE = "probably_outside", "probably outside"
        OUTSIDE = "outside", "outside"
        NOT_JUDGED = "not_judged", "not judged"

    test = models.ForeignKey(FiringTest, on_delete=models.CASCADE, related_name="results")
    engine_version = models.PositiveSmallIntegerField()
    bias_run = models.BigIntegerField(null=True)
    spec = models.ForeignKey(FiringSpec, on_delete=models.SET_NULL, null=True, related_name="+")
    verdict = models.CharField(max_length=16, choices=Verdict, default=Verdict.NOT_JUDGED)
    p_inside = models.FloatField(null=True)
    target_low_co2_pct = models.FloatField(null=True)
    target_high_co2_pct = models.FloatField(null=True)
    accept_low_co2_pct = models.FloatField(null=True)
    accept_high_co2_pct = models.FloatField(null=True)
    air_ratio = models.FloatField(null=True)
    u_air_ratio = models.FloatField(null=True)
    excess_air_pct = models.FloatField(null=True)
    u_excess_air_pct = models.FloatField(null=True)
    o2_pct = models.FloatField(null=True)
    u_o2_pct = models.FloatField(null=True)
    co2_pct = models.FloatField(null=True)
    u_co2_pct = models.FloatField(null=True)
    co_air_free_ppm = models.FloatField(null=True)
    u_co_air_free_ppm = models.FloatField(null=True)
    co_co2_ratio = models.FloatField(null=True)
    u_co_co2_ratio = models.FloatField(null=True)
    dew_point_c = models.FloatField(null=True)
    u_dew_point_c = models.FloatField(null=True)
    condensed_pct = models.FloatField(null=True)
    u_condensed_pct = models.FloatField(null=True)
    sensible_loss_gross_pct = models.FloatField(null=True)
    u_sensible_loss_gross_pct = models.FloatField(null=True)
    latent_loss_gross_pct = models.FloatField(null=True)
    u_latent_loss_gross_pct = models.FloatField(null=True)
    efficiency_gross_pct = models.FloatField(null=True)
    u_efficiency_gross_pct = models.FloatField(null=True)
    efficiency_net_pct = models.FloatField(null=True)
    u_efficiency_net_pct = models.FloatField(null=True)
    why = models.JSONField(default=dict, help_text="Quantity to reason code, for what could not be given.")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["test", "engine_version"], name="result_once_per_engine"),
            one_of(
                "result_verdict",
                "verdict",
                ["inside", "probably_inside", "probably_outside", "outside", "not_judged"],
            ),
            *finite("result", [*QUANTITIES, *(f"u_{name}" for name in QUANTITIES), "p_inside"]),
        ]

    def __str__(self) -> str:
        return f"{self.verdict} (engine {self.engine_version})"
