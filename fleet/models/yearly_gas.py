"""How much gas an appliance or a plant burns in a usual year, where somebody knows."""

from django.db import models
from django.db.models import Q

from common.constraints import within


class YearlyGas(models.Model):
    """Gas burnt in a usual year, of an appliance or of a whole plant; all of it or none of it is known."""

    annual_gas_kwh = models.FloatField(null=True, blank=True, help_text="Gross heat, in a usual year.")
    annual_gas_u_pct = models.FloatField(
        null=True,
        blank=True,
        help_text="Relative standard uncertainty, %: a meter's bills 3, a declaration 20.",
    )
    annual_gas_source = models.CharField(
        max_length=200,
        blank=True,
        help_text="Whose figure: the meter's bills and their years, a declaration.",
    )

    class Meta:
        abstract = True


def yearly_gas_constraints(name: str) -> list[models.BaseConstraint]:
    """What the database holds of `YearlyGas`, under names that begin with the table's."""
    given = Q(annual_gas_kwh__isnull=False, annual_gas_u_pct__isnull=False) & ~Q(annual_gas_source="")
    none = Q(annual_gas_kwh__isnull=True, annual_gas_u_pct__isnull=True, annual_gas_source="")
    return [
        within(f"{name}_annual_gas", "annual_gas_kwh", 0, 1e10),
        within(f"{name}_annual_gas_u", "annual_gas_u_pct", 0, 100),
        models.CheckConstraint(
            condition=given | none,
            name=f"{name}_annual_gas_whole",
            violation_error_message="A year's gas needs its uncertainty and its source.",
        ),
    ]
