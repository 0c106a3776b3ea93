"""The gas that a supplier reports for a site or a whole gas area, from a day on."""

from django.core.exceptions import ValidationError
from django.db import models

from combustion.errors import OutOfRange
from combustion.fuels import Fuel, custom_fuel
from common.constraints import one_of
from fleet.models.catalogue import FuelSlug
from fleet.models.customers import GasArea, Site


class SuppliedGas(models.Model):
    """A composition that stands in for a catalogue fuel where it burns, from a day until the next row's.

    composition: mole fractions by component of ISO 6976, summing to 1 within 0.001. A site's own row wins
    over its gas area's.
    """

    site = models.ForeignKey(
        Site, on_delete=models.CASCADE, null=True, blank=True, related_name="supplied_gases"
    )
    gas_area = models.ForeignKey(
        GasArea, on_delete=models.CASCADE, null=True, blank=True, related_name="supplied_gases"
    )
    fuel = models.CharField(max_length=20, choices=FuelSlug, help_text="The catalogue fuel it stands in for.")
    from_on = models.DateField()
    composition = models.JSONField()
    source = models.CharField(max_length=200, help_text="The supplier's report.")

    class Meta:
        ordering = ["from_on", "id"]
        constraints = [
            one_of("supplied_gas_fuel", "fuel", FuelSlug.values),
            models.CheckConstraint(
                condition=models.Q(site__isnull=True, gas_area__isnull=False)
                | models.Q(site__isnull=False, gas_area__isnull=True),
                name="supplied_gas_site_or_area",
                violation_error_message="A supplied gas is a site's or a gas area's, one of the two.",
            ),
            models.UniqueConstraint(
                fields=["site", "fuel", "from_on"],
                condition=models.Q(site__isnull=False),
                name="supplied_gas_once_per_site",
            ),
            models.UniqueConstraint(
                fields=["gas_area", "fuel", "from_on"],
                condition=models.Q(gas_area__isnull=False),
                name="supplied_gas_once_per_area",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_fuel_display()} as supplied from {self.from_on}"

    def clean(self) -> None:
        try:
            self.as_fuel()
        except (OutOfRange, AttributeError, TypeError, ValueError) as error:
            raise ValidationError({"composition": str(error)}, code="composition") from error

    def as_fuel(self) -> Fuel:
        """The gas to compute with, under the slug of the fuel it stands in for. Raises OutOfRange."""
        name = f"{self.get_fuel_display().capitalize()} as supplied from {self.from_on}"
        return custom_fuel(self.composition, slug=self.fuel, name=name)
