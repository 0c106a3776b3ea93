"""Safety limits are data with a named source: countries and customers differ."""

from django.db import models

from common.constraints import one_of, within
from fleet.models.customers import Customer


class SafetyLimit(models.Model):
    """One level of one quantity: from which value to investigate, and from which to make safe.

    The most particular row in force wins: the customer's, else the country's, else the general one.
    """

    class Quantity(models.TextChoices):
        CO_AIR_FREE_PPM = "co_air_free_ppm", "CO, air-free, ppm"
        CO_PPM = "co_ppm", "CO, dry as measured, ppm"
        CO_CO2_RATIO = "co_co2_ratio", "CO/CO2 ratio"
        AMBIENT_CO_PPM = "ambient_co_ppm", "CO in room air, ppm"

    class Level(models.TextChoices):
        INVESTIGATE = "investigate", "investigate"
        MAKE_SAFE = "make_safe", "make safe"

    class Mark(models.TextChoices):
        READ = "read", "read in the source or a copy of it"
        MEMORY = "memory", "from memory, to be verified"
        PRACTICE = "practice", "common practice, no source"
        OWN = "own", "the firm's or customer's own"

    quantity = models.CharField(max_length=16, choices=Quantity)
    level = models.CharField(max_length=12, choices=Level)
    value = models.FloatField()
    country = models.CharField(max_length=2, blank=True, help_text="ISO 3166-1; empty: everywhere.")
    customer = models.ForeignKey(
        Customer, on_delete=models.CASCADE, null=True, blank=True, related_name="limits"
    )
    source = models.CharField(max_length=200)
    mark = models.CharField(max_length=8, choices=Mark)
    in_force_on = models.DateField()

    class Meta:
        ordering = ["quantity", "level", "country"]
        constraints = [
            models.UniqueConstraint(
                fields=["quantity", "level", "country", "in_force_on"],
                condition=models.Q(customer__isnull=True),
                name="limit_once_per_country",
            ),
            models.UniqueConstraint(
                fields=["quantity", "level", "country", "customer", "in_force_on"],
                condition=models.Q(customer__isnull=False),
                name="limit_once_per_customer",
            ),
            one_of(
                "limit_quantity", "quantity", ["co_air_free_ppm", "co_ppm", "co_co2_ratio", "ambient_co_ppm"]
            ),
            one_of("limit_level", "level", ["investigate", "make_safe"]),
            one_of("limit_mark", "mark", ["read", "memory", "practice", "own"]),
            within("limit_value", "value", 0, 100_000),
        ]

    def __str__(self) -> str:
        return f"{self.get_level_display()} at {self.value:g} ({self.get_quantity_display()})"
