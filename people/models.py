"""Users and their roles, technicians and their licences, devices and their tokens."""

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models.functions import Now

from common.constraints import one_of, within


class Role(models.TextChoices):
    OFFICE = "office", "office"
    TECHNICIAN = "technician", "technician"
    MANAGER = "manager", "manager"
    ADMINISTRATOR = "administrator", "administrator"
    CONTACT = "contact", "customer's contact"


class Units(models.TextChoices):
    SI = "si", "SI (°C, kW, mbar, m³/h)"
    US = "us", "US customary (°F, MBH, in WC, ft³/h)"


class User(AbstractUser):
    """A person. The role alone decides what they may do; a superuser counts as an administrator."""

    role = models.CharField(max_length=14, choices=Role, default=Role.CONTACT)
    units = models.CharField(max_length=2, choices=Units, default=Units.SI)

    class Meta(AbstractUser.Meta):
        constraints = [
            one_of("user_role", "role", Role.values),
            one_of("user_units", "units", Units.values),
        ]

    def __str__(self) -> str:
        return self.get_full_name() or self.username


class Technician(models.Model):
    """What the office must know of someone who goes out."""

    user = models.OneToOneField(User, on_delete=models.PROTECT, related_name="technician")
    weekly_hours = models.FloatField(default=37.5)
    home_latitude = models.FloatField(null=True, blank=True)
    home_longitude = models.FloatField(null=True, blank=True)
    away_from = models.DateField(null=True, blank=True)
    away_until = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            within("technician_weekly_hours", "weekly_hours", 0, 80),
            within("technician_home_latitude", "home_latitude", -90, 90),
            within("technician_home_longitude", "home_longitude", -180, 180),
        ]

    def __str__(self) -> str:
        return str(self.user)


class Licence(models.Model):
    """A licence of a technician: for which work, on which fuels, up to which input, from when to when."""

    class Work(models.TextChoices):
        SERVICE = "service", "service and recheck"
        COMMISSIONING = "commissioning", "commissioning as well"

    class Fuels(models.TextChoices):
        NATURAL_GAS = "natural_gas", "natural gas"
        LPG = "lpg", "LPG"
        ALL = "all", "all gases"

    technician = models.ForeignKey(Technician, on_delete=models.PROTECT, related_name="licences")
    scheme = models.CharField(max_length=80, help_text="Name of the national scheme that grants it.")
    number = models.CharField(max_length=60)
    work = models.CharField(max_length=14, choices=Work, default=Work.SERVICE)
    fuels = models.CharField(max_length=12, choices=Fuels, default=Fuels.ALL)
    max_input_gross_kw = models.FloatField(null=True, blank=True, help_text="Empty: no limit.")
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["scheme", "number"], name="licence_number_once"),
            one_of("licence_work", "work", ["service", "commissioning"]),
            one_of("licence_fuels", "fuels", ["natural_gas", "lpg", "all"]),
            within("licence_max_input", "max_input_gross_kw", 0, 100_000),
            models.CheckConstraint(
                condition=models.Q(ends_on__isnull=True) | models.Q(ends_on__gte=models.F("starts_on")),
                name="licence_ends_after_start",
                violation_error_message="A licence cannot end before it starts.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.scheme} {self.number}"


class DeviceToken(models.Model):
    """A token that one device signs in with. Only its SHA-256 is kept."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="device_tokens")
    name = models.CharField(max_length=80)
    digest = models.BinaryField(max_length=32, unique=True)
    created_at = models.DateTimeField(db_default=Now())
    last_used_at = models.DateTimeField(null=True)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"{self.name} of {self.user}"
