"""What a turn of a model's trim does, as learnt from recorded moves: written by analytics, read by advice."""

from django.db import models

from common.constraints import finite, one_of, ordered
from fleet.models.catalogue import ModelTrim


class TurnSensitivity(models.Model):
    """One trim of one model: what a clockwise turn (or mark) does to the trim's state.

    The state of the throttle is ln K, of the offset w, its pressure over the air signal at high fire: both
    dimensionless, so that one row serves every fuel and firing point. Derived and replaceable.
    """

    class Unit(models.TextChoices):
        TURN = "turn", "turn"
        MARK = "mark", "mark"

    class WhyWayOnly(models.TextChoices):
        FEW_MOVES = "few_moves", "too few moves recorded"
        FEW_BURNERS = "few_burners", "moves of too few burners"
        WIDE = "wide", "burners differ too much"
        AGAINST_FILE = "against_file", "moves went against the direction on file"

    trim = models.OneToOneField(ModelTrim, on_delete=models.CASCADE, related_name="sensitivity")
    unit = models.CharField(max_length=4, choices=Unit, default=Unit.TURN)
    effect = models.FloatField(help_text="Change of ln K (throttle) or w (offset) per clockwise unit.")
    effect_low = models.FloatField(help_text="Lower end of the 95 % interval of the model's effect.")
    effect_high = models.FloatField(help_text="Upper end of the same.")
    effect_u = models.FloatField(help_text="Standard uncertainty of the model's effect.")
    spread = models.FloatField(help_text="Standard deviation of the effect between burners.")
    scatter = models.FloatField(help_text="Standard deviation of the effect between moves of one burner.")
    moves = models.PositiveIntegerField(help_text="Moves that it rests on.")
    burners = models.PositiveIntegerField(help_text="Burners that these moves were made on.")
    set_aside = models.PositiveIntegerField(help_text="Moves left out as clumsy entries.")
    why_way_only = models.CharField(
        max_length=12,
        choices=WhyWayOnly,
        blank=True,
        help_text="Why advice names the way and no amount; empty where an amount is given.",
    )
    learnt_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "turn sensitivities"
        ordering = ["trim_id"]
        constraints = [
            one_of("sensitivity_unit", "unit", ["turn", "mark"]),
            one_of(
                "sensitivity_why",
                "why_way_only",
                ["", "few_moves", "few_burners", "wide", "against_file"],
            ),
            ordered("sensitivity_order", "effect_low", "effect_high"),
            *finite("sensitivity", ["effect", "effect_low", "effect_high", "effect_u", "spread", "scatter"]),
        ]

    def __str__(self) -> str:
        return f"{self.trim}, per {self.unit}"

    @property
    def way_only(self) -> bool:
        """Whether the evidence allows the way and no amount."""
        return self.why_way_only != ""

    @property
    def u_one_burner(self) -> float:
        """Standard deviation of the effect on a burner of which nothing is known yet."""
        return float((self.effect_u**2 + self.spread**2) ** 0.5)
