"""What makers say of their models: ratio control, trims, and what the burner should give."""

from django.db import models

from common.constraints import one_of, ordered, within


class FuelSlug(models.TextChoices):
    """The fuels that `combustion` knows by composition; a test holds the two lists equal."""

    NATURAL_GAS = "natural_gas", "natural gas"
    METHANE = "methane", "methane"
    PROPANE = "propane", "propane"
    N_BUTANE = "n_butane", "n-butane"
    LPG_MIX = "lpg_mix", "LPG mix"
    NATURAL_GAS_H2_05 = "natural_gas_h2_05", "natural gas with 5 % hydrogen"
    NATURAL_GAS_H2_10 = "natural_gas_h2_10", "natural gas with 10 % hydrogen"
    NATURAL_GAS_H2_20 = "natural_gas_h2_20", "natural gas with 20 % hydrogen"


class Point(models.TextChoices):
    HIGH = "high", "high fire"
    LOW = "low", "low fire"
    PERCENT = "percent", "part rate"


class TrimKind(models.TextChoices):
    THROTTLE = "throttle", "throttle"
    OFFSET = "offset", "offset"


class Maker(models.Model):
    name = models.CharField(max_length=120, unique=True)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class ApplianceModel(models.Model):
    """A maker's type and size."""

    class Kind(models.TextChoices):
        BOILER = "boiler", "boiler"
        WATER_HEATER = "water_heater", "water heater"

    class RatioControl(models.TextChoices):
        PNEUMATIC_PREMIX = "pneumatic_premix", "pneumatic premix"
        ELECTRONIC = "electronic", "electronic"
        FIXED = "fixed", "fixed"
        FORCED_DRAUGHT = "forced_draught", "forced-draught multi-point"
        ATMOSPHERIC = "atmospheric", "atmospheric"
        UNKNOWN = "unknown", "not known"

    maker = models.ForeignKey(Maker, on_delete=models.PROTECT, related_name="models")
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=12, choices=Kind, default=Kind.BOILER)
    ratio_control = models.CharField(
        max_length=18, choices=RatioControl, default=RatioControl.PNEUMATIC_PREMIX
    )
    condensing = models.BooleanField(default=True)
    input_gross_kw = models.FloatField(null=True, blank=True, help_text="Rated input, gross basis.")
    turndown = models.FloatField(null=True, blank=True, help_text="High over low fire, by rate.")
    control_pressure_pa = models.FloatField(
        null=True,
        blank=True,
        help_text="Air signal at the gas valve at high fire, where the maker states it.",
    )
    fan_high_rpm = models.FloatField(null=True, blank=True)
    fan_low_rpm = models.FloatField(null=True, blank=True)
    forced_rate_s = models.FloatField(
        default=300,
        help_text="How long the control holds a forced rate. About 5 minutes: common practice, no source.",
    )

    class Meta:
        ordering = ["maker__name", "name"]
        constraints = [
            models.UniqueConstraint(fields=["maker", "name"], name="model_name_once_per_maker"),
            one_of("model_kind", "kind", ["boiler", "water_heater"]),
            one_of(
                "model_ratio_control",
                "ratio_control",
                ["pneumatic_premix", "electronic", "fixed", "forced_draught", "atmospheric", "unknown"],
            ),
            within("model_input", "input_gross_kw", 0.1, 100_000),
            within("model_turndown", "turndown", 1, 50),
            within("model_control_pressure", "control_pressure_pa", 1, 20_000),
            within("model_forced_rate", "forced_rate_s", 10, 7200),
            within("model_fan_high", "fan_high_rpm", 1, 50_000),
            within("model_fan_low", "fan_low_rpm", 1, 50_000),
            ordered("model_fan_order", "fan_low_rpm", "fan_high_rpm"),
        ]

    def __str__(self) -> str:
        return f"{self.maker} {self.name}"


class ModelTrim(models.Model):
    """One trim of a model: where it is, which tool, which way lowers CO2, and who may move it."""

    class Direction(models.TextChoices):
        CLOCKWISE = "clockwise", "clockwise"
        ANTICLOCKWISE = "anticlockwise", "anticlockwise"

    class Mover(models.TextChoices):
        FIELD = "field", "any licensed technician"
        MAKER_TRAINED = "maker_trained", "maker-trained only"
        SEALED = "sealed", "sealed: nobody in the field"

    model = models.ForeignKey(ApplianceModel, on_delete=models.CASCADE, related_name="trims")
    kind = models.CharField(max_length=8, choices=TrimKind)
    location = models.CharField(max_length=200, blank=True)
    tool = models.CharField(max_length=80, blank=True)
    lowers_co2 = models.CharField(max_length=13, choices=Direction, blank=True, help_text="Empty: not known.")
    mover = models.CharField(max_length=13, choices=Mover, default=Mover.FIELD)
    max_step_turns = models.FloatField(default=0.25)
    max_step_marks = models.FloatField(
        null=True,
        blank=True,
        help_text="Where the trim has a scale. Empty: amounts in marks are not advised.",
    )

    class Meta:
        ordering = ["model_id", "-kind"]
        constraints = [
            models.UniqueConstraint(fields=["model", "kind"], name="trim_kind_once_per_model"),
            one_of("trim_kind", "kind", TrimKind.values),
            one_of("trim_lowers_co2", "lowers_co2", ["", "clockwise", "anticlockwise"]),
            one_of("trim_mover", "mover", ["field", "maker_trained", "sealed"]),
            within("trim_max_step", "max_step_turns", 0.01, 20),
            within("trim_max_step_marks", "max_step_marks", 0.1, 1000),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.model}"


class FiringSpec(models.Model):
    """What a model should give on a fuel at a firing point.

    CO2 bands are dry vol %. Low fire is given as its own band or as a signed difference from the high fire
    as left, never both. Without an acceptance band of the maker's: target ± 0.3 % CO2 (common practice, no
    source).
    """

    model = models.ForeignKey(ApplianceModel, on_delete=models.CASCADE, related_name="firing_specs")
    fuel = models.CharField(max_length=20, choices=FuelSlug)
    point = models.CharField(max_length=8, choices=Point)
    percent = models.FloatField(null=True, blank=True, help_text="% of rated input, for part rate only.")
    target_low_co2_pct = models.FloatField(null=True, blank=True)
    target_high_co2_pct = models.FloatField(null=True, blank=True)
    accept_low_co2_pct = models.FloatField(null=True, blank=True)
    accept_high_co2_pct = models.FloatField(null=True, blank=True)
    below_high_fire_low_pct = models.FloatField(
        null=True, blank=True, help_text="Low fire minus high fire as left, CO2 % points, lower end (signed)."
    )
    below_high_fire_high_pct = models.FloatField(
        null=True, blank=True, help_text="Low fire minus high fire as left, CO2 % points, upper end (signed)."
    )
    co_max_ppm = models.FloatField(
        null=True, blank=True, help_text="The maker's own limit, dry, as measured."
    )
    inlet_pressure_low_mbar = models.FloatField(null=True, blank=True)
    inlet_pressure_high_mbar = models.FloatField(null=True, blank=True)
    flue_temp_max_c = models.FloatField(null=True, blank=True)
    source = models.CharField(
        max_length=200, help_text="Where the figures come from: the maker's document, its page."
    )

    class Meta:
        ordering = ["model_id", "fuel", "point"]
        constraints = [
            models.UniqueConstraint(
                fields=["model", "fuel", "point"],
                condition=models.Q(percent__isnull=True),
                name="spec_once_per_point",
            ),
            models.UniqueConstraint(
                fields=["model", "fuel", "percent"],
                condition=models.Q(percent__isnull=False),
                name="spec_once_per_part_rate",
            ),
            one_of("spec_point", "point", Point.values),
            one_of("spec_fuel", "fuel", FuelSlug.values),
            models.CheckConstraint(
                condition=models.Q(point="percent", percent__isnull=False)
                | (~models.Q(point="percent") & models.Q(percent__isnull=True)),
                name="spec_percent_with_part_rate",
                violation_error_message="A part rate needs its percentage; high and low fire have none.",
            ),
            models.CheckConstraint(
                condition=models.Q(target_low_co2_pct__isnull=True)
                | models.Q(below_high_fire_low_pct__isnull=True),
                name="spec_band_or_difference",
                violation_error_message="Low fire is given as its own band or as a difference, never both.",
            ),
            models.CheckConstraint(
                condition=models.Q(below_high_fire_low_pct__isnull=True) | models.Q(point="low"),
                name="spec_difference_at_low_only",
                violation_error_message="Only low fire is given as a difference from high fire.",
            ),
            models.CheckConstraint(
                condition=models.Q(target_low_co2_pct__isnull=True, target_high_co2_pct__isnull=True)
                | models.Q(target_low_co2_pct__isnull=False, target_high_co2_pct__isnull=False),
                name="spec_target_whole",
                violation_error_message="A target band needs both ends.",
            ),
            models.CheckConstraint(
                condition=models.Q(accept_low_co2_pct__isnull=True, accept_high_co2_pct__isnull=True)
                | models.Q(accept_low_co2_pct__isnull=False, accept_high_co2_pct__isnull=False),
                name="spec_acceptance_whole",
                violation_error_message="An acceptance band needs both ends.",
            ),
            within("spec_percent", "percent", 1, 100),
            within("spec_target_low", "target_low_co2_pct", 0, 25),
            within("spec_target_high", "target_high_co2_pct", 0, 25),
            within("spec_accept_low", "accept_low_co2_pct", 0, 25),
            within("spec_accept_high", "accept_high_co2_pct", 0, 25),
            within("spec_co_max", "co_max_ppm", 0, 10_000),
            ordered("spec_target_order", "target_low_co2_pct", "target_high_co2_pct"),
            ordered("spec_accept_order", "accept_low_co2_pct", "accept_high_co2_pct"),
            ordered("spec_difference_order", "below_high_fire_low_pct", "below_high_fire_high_pct"),
            ordered("spec_pressure_order", "inlet_pressure_low_mbar", "inlet_pressure_high_mbar"),
        ]

    def __str__(self) -> str:
        return f"{self.model} on {self.get_fuel_display()} at {self.get_point_display()}"
