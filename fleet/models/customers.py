"""Customers, their sites and plants, the gas they burn, and what was agreed with them."""

import zoneinfo
from datetime import tzinfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models

from common.constraints import one_of, ordered, within
from fleet.models.yearly_gas import YearlyGas, yearly_gas_constraints
from fleet.querysets import CustomerQuerySet, PlantQuerySet, SiteQuerySet


def known_time_zone(value: str) -> None:
    """Refuse a name that is not in the IANA time zone database."""
    if value not in zoneinfo.available_timezones():
        raise ValidationError(f"{value!r} is not a name of the IANA time zone database.", code="time_zone")


class Customer(models.Model):
    """Who pays. Retired, never deleted, once there is history."""

    name = models.CharField(max_length=200, unique=True)
    email = models.EmailField(blank=True)
    country = models.CharField(
        max_length=2, default="GB", help_text="ISO 3166-1; chooses the limits in force."
    )
    retired_on = models.DateField(null=True, blank=True)

    objects = CustomerQuerySet.as_manager()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class GasArea(models.Model):
    """A part of a supply network whose burners get the same gas on the same day. Each LPG tank is its own."""

    class Supply(models.TextChoices):
        NETWORK = "network", "network"
        TANK = "tank", "tank"

    name = models.CharField(max_length=120, unique=True)
    supply = models.CharField(max_length=8, choices=Supply, default=Supply.NETWORK)

    class Meta:
        ordering = ["name"]
        constraints = [one_of("gas_area_supply", "supply", ["network", "tank"])]

    def __str__(self) -> str:
        return self.name


class Site(models.Model):
    """An address. Its zone says which day a reading was taken on; its elevation what the air weighs."""

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="sites")
    name = models.CharField(max_length=200)
    address = models.TextField(blank=True)
    latitude = models.FloatField(null=True, blank=True)
    longitude = models.FloatField(null=True, blank=True)
    elevation_m = models.FloatField(null=True, blank=True)
    time_zone = models.CharField(max_length=50, default="Europe/London", validators=[known_time_zone])
    design_winter_air_c = models.FloatField(null=True, blank=True)
    design_summer_air_c = models.FloatField(null=True, blank=True)
    gas_area = models.ForeignKey(
        GasArea, on_delete=models.PROTECT, null=True, blank=True, related_name="sites"
    )
    access_notes = models.TextField(blank=True)
    retired_on = models.DateField(null=True, blank=True)

    objects = SiteQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["customer", "name"], name="site_name_once_per_customer"),
            within("site_latitude", "latitude", -90, 90),
            within("site_longitude", "longitude", -180, 180),
            within("site_elevation", "elevation_m", -450, 5000),
            within("site_design_winter", "design_winter_air_c", -60, 60),
            within("site_design_summer", "design_summer_air_c", -60, 60),
            ordered("site_winter_below_summer", "design_winter_air_c", "design_summer_air_c"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> tzinfo:
        """The site's time zone."""
        return zoneinfo.ZoneInfo(self.time_zone)


class SiteContact(models.Model):
    """A customer's contact who may read this site and its service records."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="contacts")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="contact_sites")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "user"], name="site_contact_once")]

    def __str__(self) -> str:
        return f"{self.user} reads {self.site}"


class Plant(YearlyGas):
    """One boiler room, with its sequencing."""

    class Sequencing(models.TextChoices):
        STAND_ALONE = "stand_alone", "stand-alone"
        LEAD_LAG = "lead_lag", "lead-lag cascade"

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="plants")
    name = models.CharField(max_length=200)
    sequencing = models.CharField(max_length=12, choices=Sequencing, default=Sequencing.STAND_ALONE)
    access_notes = models.TextField(blank=True)
    retired_on = models.DateField(null=True, blank=True)

    objects = PlantQuerySet.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["site", "name"], name="plant_name_once_per_site"),
            one_of("plant_sequencing", "sequencing", ["stand_alone", "lead_lag"]),
            *yearly_gas_constraints("plant"),
        ]

    def __str__(self) -> str:
        return self.name


class Contract(models.Model):
    """What was agreed for a customer's plants: which visit, how often, reckoned how, and when not."""

    class Rule(models.TextChoices):
        FIXED_ANNIVERSARY = "fixed_anniversary", "fixed anniversary"
        FROM_LAST_DONE = "from_last_done", "from last done"

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="contracts")
    reference = models.CharField(max_length=80, unique=True)
    plants = models.ManyToManyField(Plant, related_name="contracts", blank=True)
    kind = models.CharField(max_length=16, default="annual_service")
    interval_months = models.PositiveSmallIntegerField(default=12)
    rule = models.CharField(max_length=18, choices=Rule, default=Rule.FROM_LAST_DONE)
    anniversary_on = models.DateField(
        null=True,
        blank=True,
        help_text="Any date with the anniversary's day and month (fixed anniversary only).",
    )
    window_before_days = models.PositiveSmallIntegerField(default=30)
    window_after_days = models.PositiveSmallIntegerField(default=30)
    avoid_months = models.JSONField(
        default=list, blank=True, help_text="Months 1 to 12 in which not to come."
    )
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["reference"]
        constraints = [
            one_of("contract_kind", "kind", ["annual_service"]),
            one_of("contract_rule", "rule", ["fixed_anniversary", "from_last_done"]),
            within("contract_interval", "interval_months", 1, 60),
            ordered("contract_ends_after_start", "starts_on", "ends_on"),
            models.CheckConstraint(
                condition=models.Q(rule="from_last_done") | models.Q(anniversary_on__isnull=False),
                name="contract_anniversary_known",
                violation_error_message="A fixed anniversary needs its date.",
            ),
        ]

    def __str__(self) -> str:
        return self.reference

    def clean(self) -> None:
        months = self.avoid_months
        if not isinstance(months, list) or any(not isinstance(m, int) or not 1 <= m <= 12 for m in months):
            raise ValidationError({"avoid_months": "List months as numbers from 1 to 12."}, code="months")
        if len(set(months)) == 12:
            raise ValidationError({"avoid_months": "A year needs at least one month left."}, code="months")
