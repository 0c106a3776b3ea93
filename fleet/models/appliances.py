"""Appliances, their burners, and what was replaced in them."""

import uuid

from django.db import models
from django.db.models.functions import Now

from common.constraints import one_of, ordered, within
from fleet.models.catalogue import ApplianceModel, FuelSlug
from fleet.models.customers import Plant
from fleet.models.yearly_gas import YearlyGas, yearly_gas_constraints
from fleet.querysets import ApplianceQuerySet


class SafetyState(models.TextChoices):
    IN_SERVICE = "in_service", "in service"
    WITH_ADVICE = "with_advice", "in service with advice"
    LEFT_OFF = "left_off", "left off"
    ISOLATED = "isolated", "isolated and labelled"
    RETURNED = "returned", "returned to service"


class Appliance(YearlyGas):
    """One boiler or water heater."""

    class AirSource(models.TextChoices):
        ROOM = "room", "room"
        DUCTED = "ducted", "ducted"
        CONCENTRIC = "concentric", "concentric"
        UNKNOWN = "unknown", "not known"

    class Basis(models.TextChoices):
        GROSS = "gross", "gross"
        NET = "net", "net"

    uuid = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    plant = models.ForeignKey(Plant, on_delete=models.PROTECT, related_name="appliances")
    tag = models.CharField(max_length=80)
    serial = models.CharField(max_length=80, blank=True, db_index=True)
    model = models.ForeignKey(ApplianceModel, on_delete=models.PROTECT, related_name="appliances")
    fuel = models.CharField(max_length=20, choices=FuelSlug)
    input_gross_kw = models.FloatField(null=True, blank=True)
    input_stated_kw = models.FloatField(null=True, blank=True, help_text="As on the plate.")
    input_stated_basis = models.CharField(max_length=5, choices=Basis, default=Basis.GROSS)
    air_source = models.CharField(max_length=10, choices=AirSource, default=AirSource.UNKNOWN)
    safety_state = models.CharField(max_length=12, choices=SafetyState, default=SafetyState.IN_SERVICE)
    installed_on = models.DateField(null=True, blank=True)
    next_due_on = models.DateField(null=True, blank=True, db_index=True, editable=False)
    retired_on = models.DateField(null=True, blank=True)

    objects = ApplianceQuerySet.as_manager()

    class Meta:
        ordering = ["tag"]
        indexes = [
            models.Index(fields=["tag"]),
            models.Index(fields=["safety_state"], name="appliance_by_safety_state"),
        ]
        constraints = [
            models.UniqueConstraint(fields=["plant", "tag"], name="appliance_tag_once_per_plant"),
            one_of("appliance_fuel", "fuel", FuelSlug.values),
            one_of("appliance_air_source", "air_source", ["room", "ducted", "concentric", "unknown"]),
            one_of("appliance_safety_state", "safety_state", SafetyState.values),
            one_of("appliance_basis", "input_stated_basis", ["gross", "net"]),
            within("appliance_input", "input_gross_kw", 0.1, 100_000),
            within("appliance_input_stated", "input_stated_kw", 0.1, 100_000),
            ordered("appliance_retired_after_installed", "installed_on", "retired_on"),
            *yearly_gas_constraints("appliance"),
        ]

    def __str__(self) -> str:
        return self.tag


class Burner(models.Model):
    """What is fired and trimmed. Where a figure is empty the model's holds."""

    uuid = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    appliance = models.ForeignKey(Appliance, on_delete=models.PROTECT, related_name="burners")
    position = models.PositiveSmallIntegerField(default=1)
    name = models.CharField(max_length=80, blank=True)
    turndown = models.FloatField(null=True, blank=True)
    control_pressure_pa = models.FloatField(null=True, blank=True)
    fan_high_rpm = models.FloatField(null=True, blank=True)
    fan_low_rpm = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ["appliance_id", "position"]
        constraints = [
            models.UniqueConstraint(fields=["appliance", "position"], name="burner_position_once"),
            within("burner_position", "position", 1, 99),
            within("burner_turndown", "turndown", 1, 50),
            within("burner_control_pressure", "control_pressure_pa", 1, 20_000),
            within("burner_fan_high", "fan_high_rpm", 1, 50_000),
            within("burner_fan_low", "fan_low_rpm", 1, 50_000),
            ordered("burner_fan_order", "fan_low_rpm", "fan_high_rpm"),
        ]

    def __str__(self) -> str:
        return self.name or f"burner {self.position}"


class PartFitted(models.Model):
    """A part replaced on a burner, or a fan limit changed: the trims start a new state from here."""

    burner = models.ForeignKey(Burner, on_delete=models.PROTECT, related_name="parts")
    part = models.CharField(max_length=80)
    fitted_at = models.DateTimeField()
    visit_uuid = models.UUIDField(null=True, blank=True)
    noted_at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["fitted_at"]
        constraints = [
            models.UniqueConstraint(fields=["burner", "part", "fitted_at"], name="part_fitted_once"),
        ]

    def __str__(self) -> str:
        return f"{self.part} on {self.burner}"
