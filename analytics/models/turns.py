"""Which models' trims are to be learnt again."""

from django.db import models

from fleet.models import ApplianceModel


class TurnDuty(models.Model):
    """Moves of a model were recorded. It is owed while it was asked for more often than answered."""

    model = models.OneToOneField(ApplianceModel, on_delete=models.CASCADE, related_name="+")
    asked = models.PositiveBigIntegerField(default=0)
    answered = models.PositiveBigIntegerField(default=0)

    class Meta:
        verbose_name_plural = "turn duties"
        ordering = ["id"]
        indexes = [
            models.Index(
                fields=["id"],
                name="turn_duty_owed",
                condition=models.Q(asked__gt=models.F("answered")),
            ),
        ]

    def __str__(self) -> str:
        return f"turns of {self.model}"
