"""Settings that a test usually needs changed for a while, as data: each must be put back."""

from django.db import models

from common.constraints import one_of
from fleet.models.catalogue import ApplianceModel
from fleet.models.customers import Plant
from fleet.models.items import ServiceItem


class Season(models.TextChoices):
    HEATING = "heating", "heating season"
    SUMMER = "summer", "outside the heating season"


class PutBackSuggestion(models.Model):
    """One setting that is usually altered for a firing test, and to what.

    A person confirms it, with what it was, rather than types it. For each code the most particular row is
    suggested: the model's, else that of the sequencing, season and kind, else the general one.
    """

    class Scope(models.TextChoices):
        THIS = "this", "the appliance under test"
        OTHERS = "others", "each other unit of the plant"
        PLANT = "plant", "the plant's own controls"

    code = models.SlugField(max_length=40)
    what = models.CharField(max_length=100)
    set_to = models.CharField(max_length=120)
    scope = models.CharField(max_length=6, choices=Scope, default=Scope.THIS)
    kind = models.CharField(
        max_length=12, choices=ApplianceModel.Kind, blank=True, help_text="Empty: every kind."
    )
    model = models.ForeignKey(
        ApplianceModel, on_delete=models.CASCADE, null=True, blank=True, related_name="put_back_suggestions"
    )
    sequencing = models.CharField(
        max_length=12, choices=Plant.Sequencing, blank=True, help_text="Empty: whatever it is."
    )
    season = models.CharField(max_length=7, choices=Season, blank=True, help_text="Empty: all year.")
    position = models.PositiveSmallIntegerField(default=0, help_text="Order in which it is changed.")
    suggested = models.BooleanField(default=True, help_text="Off: left out where this row applies.")
    source = models.CharField(max_length=200)
    mark = models.CharField(max_length=8, choices=ServiceItem.Mark)
    caution = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["position", "code", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["code", "kind", "sequencing", "season"],
                condition=models.Q(model__isnull=True),
                name="put_back_once_per_case",
            ),
            models.UniqueConstraint(
                fields=["code", "model", "kind", "sequencing", "season"],
                condition=models.Q(model__isnull=False),
                name="put_back_once_per_model",
            ),
            one_of("put_back_scope", "scope", ["this", "others", "plant"]),
            one_of("put_back_kind", "kind", ["", *ApplianceModel.Kind.values]),
            one_of("put_back_sequencing", "sequencing", ["", *Plant.Sequencing.values]),
            one_of("put_back_season", "season", ["", *Season.values]),
            one_of("put_back_mark", "mark", ServiceItem.Mark.values),
        ]

    def __str__(self) -> str:
        return f"{self.what}: {self.set_to}"
