"""What gas costs, and what is assumed of a year's use where nobody has said."""

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Coalesce

from common.constraints import one_of, within
from fleet.models.catalogue import ApplianceModel, FuelSlug
from fleet.models.customers import Contract, Customer
from fleet.models.limits import SafetyLimit


class GasPrice(models.Model):
    """What gas costs from a day on: the contract's, else the customer's, else the firm's own figure.

    A row for one fuel goes before one for any, within the same of the three.
    """

    customer = models.ForeignKey(
        Customer, on_delete=models.CASCADE, null=True, blank=True, related_name="gas_prices"
    )
    contract = models.ForeignKey(
        Contract, on_delete=models.CASCADE, null=True, blank=True, related_name="gas_prices"
    )
    fuel = models.CharField(max_length=20, choices=FuelSlug, blank=True, help_text="Empty: every fuel.")
    price_per_kwh = models.DecimalField(
        max_digits=9, decimal_places=5, help_text="Per kWh of gross heat, with what is paid on each kWh."
    )
    currency = models.CharField(
        max_length=3,
        validators=[RegexValidator("^[A-Z]{3}$", "Three letters by ISO 4217, such as GBP.", code="currency")],
        help_text="ISO 4217.",
    )
    in_force_on = models.DateField()
    source = models.CharField(max_length=200, help_text="The bill or tariff, or whose word.")

    class Meta:
        ordering = ["-in_force_on", "id"]
        constraints = [
            models.UniqueConstraint(
                Coalesce("customer", 0),
                Coalesce("contract", 0),
                "fuel",
                "in_force_on",
                name="gas_price_once",
                violation_error_message="There is a price for that fuel from that day on.",
            ),
            models.CheckConstraint(
                condition=Q(customer__isnull=True) | Q(contract__isnull=True),
                name="gas_price_one_owner",
                violation_error_message="A price is a customer's or a contract's, or the firm's own.",
            ),
            one_of("gas_price_fuel", "fuel", ["", *FuelSlug.values]),
            within("gas_price_range", "price_per_kwh", 0, 100),
        ]

    def __str__(self) -> str:
        return f"{self.price_per_kwh} {self.currency} per kWh from {self.in_force_on}"


class LoadAssumption(models.Model):
    """What is assumed of a kind of appliance where nobody has said: hours at full load, and how low it burns.

    Each has one error that all appliances share (the assumption's own) and one of each appliance.
    """

    kind = models.CharField(max_length=12, choices=ApplianceModel.Kind, unique=True)
    full_load_hours = models.FloatField(help_text="A year's gas over that of an hour at rated input.")
    hours_u_common_pct = models.FloatField(help_text="Standard uncertainty of the mean, % of it.")
    hours_u_own_pct = models.FloatField(help_text="Standard deviation between appliances, % of the mean.")
    low_fire_share = models.FloatField(help_text="Of a year's gas, burnt as if at low fire; 0 to 1.")
    low_fire_u_common = models.FloatField(help_text="Standard uncertainty of the mean share.")
    low_fire_u_own = models.FloatField(help_text="Standard deviation between appliances.")
    source = models.CharField(max_length=200)
    mark = models.CharField(max_length=8, choices=SafetyLimit.Mark)

    class Meta:
        ordering = ["kind"]
        constraints = [
            one_of("load_kind", "kind", ["boiler", "water_heater"]),
            one_of("load_mark", "mark", ["read", "memory", "practice", "own"]),
            within("load_hours", "full_load_hours", 1, 8784),
            within("load_hours_u_common", "hours_u_common_pct", 0, 200),
            within("load_hours_u_own", "hours_u_own_pct", 0, 200),
            within("load_low_share", "low_fire_share", 0, 1),
            within("load_low_u_common", "low_fire_u_common", 0, 0.5),
            within("load_low_u_own", "low_fire_u_own", 0, 0.5),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.full_load_hours:g} h at full load"
