import uuid

import django.db.models.deletion
import django.db.models.functions.datetime
from django.conf import settings
from django.db import migrations, models

import fleet.models.customers


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("people", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="ApplianceModel",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=120)),
                (
                    "kind",
                    models.CharField(
                        choices=[("boiler", "boiler"), ("water_heater", "water heater")],
                        default="boiler",
                        max_length=12,
                    ),
                ),
                (
                    "ratio_control",
                    models.CharField(
                        choices=[
                            ("pneumatic_premix", "pneumatic premix"),
                            ("electronic", "electronic"),
                            ("fixed", "fixed"),
                            ("forced_draught", "forced-draught multi-point"),
                            ("atmospheric", "atmospheric"),
                            ("unknown", "not known"),
                        ],
                        default="pneumatic_premix",
                        max_length=18,
                    ),
                ),
                ("condensing", models.BooleanField(default=True)),
                (
                    "input_gross_kw",
                    models.FloatField(blank=True, help_text="Rated input, gross basis.", null=True),
                ),
                (
                    "turndown",
                    models.FloatField(blank=True, help_text="High over low fire, by rate.", null=True),
                ),
                (
                    "control_pressure_pa",
                    models.FloatField(
                        blank=True,
                        help_text="Air signal at the gas valve at high fire, where the maker states it.",
                        null=True,
                    ),
                ),
                ("fan_high_rpm", models.FloatField(blank=True, null=True)),
                ("fan_low_rpm", models.FloatField(blank=True, null=True)),
                (
                    "forced_rate_s",
                    models.FloatField(
                        default=300,
                        help_text="How long the control holds a forced rate. About 5 minutes: common practice, no source.",
                    ),
                ),
            ],
            options={
                "ordering": ["maker__name", "name"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["boiler", "water_heater"])),
                        name="model_kind",
                        violation_error_message="kind is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "ratio_control__in",
                                [
                                    "pneumatic_premix",
                                    "electronic",
                                    "fixed",
                                    "forced_draught",
                                    "atmospheric",
                                    "unknown",
                                ],
                            )
                        ),
                        name="model_ratio_control",
                        violation_error_message="ratio_control is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("input_gross_kw__isnull", True),
                            models.Q(("input_gross_kw__gte", 0.1), ("input_gross_kw__lte", 100000)),
                            _connector="OR",
                        ),
                        name="model_input",
                        violation_error_message="input_gross_kw must lie between 0.1 and 100000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("turndown__isnull", True),
                            models.Q(("turndown__gte", 1), ("turndown__lte", 50)),
                            _connector="OR",
                        ),
                        name="model_turndown",
                        violation_error_message="turndown must lie between 1 and 50.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("control_pressure_pa__isnull", True),
                            models.Q(("control_pressure_pa__gte", 1), ("control_pressure_pa__lte", 20000)),
                            _connector="OR",
                        ),
                        name="model_control_pressure",
                        violation_error_message="control_pressure_pa must lie between 1 and 20000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("forced_rate_s__isnull", True),
                            models.Q(("forced_rate_s__gte", 10), ("forced_rate_s__lte", 7200)),
                            _connector="OR",
                        ),
                        name="model_forced_rate",
                        violation_error_message="forced_rate_s must lie between 10 and 7200.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("fan_high_rpm__isnull", True),
                            models.Q(("fan_high_rpm__gte", 1), ("fan_high_rpm__lte", 50000)),
                            _connector="OR",
                        ),
                        name="model_fan_high",
                        violation_error_message="fan_high_rpm must lie between 1 and 50000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("fan_low_rpm__isnull", True),
                            models.Q(("fan_low_rpm__gte", 1), ("fan_low_rpm__lte", 50000)),
                            _connector="OR",
                        ),
                        name="model_fan_low",
                        violation_error_message="fan_low_rpm must lie between 1 and 50000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("fan_low_rpm__isnull", True),
                            ("fan_high_rpm__isnull", True),
                            ("fan_low_rpm__lte", models.F("fan_high_rpm")),
                            _connector="OR",
                        ),
                        name="model_fan_order",
                        violation_error_message="fan_low_rpm must not be above fan_high_rpm.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Customer",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=200, unique=True)),
                ("email", models.EmailField(blank=True, max_length=254)),
                (
                    "country",
                    models.CharField(
                        default="GB", help_text="ISO 3166-1; chooses the limits in force.", max_length=2
                    ),
                ),
                ("retired_on", models.DateField(blank=True, null=True)),
            ],
            options={
                "ordering": ["name"],
            },
        ),
        migrations.CreateModel(
            name="Maker",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=120, unique=True)),
            ],
            options={
                "ordering": ["name"],
            },
        ),
        migrations.CreateModel(
            name="Plant",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=200)),
                (
                    "sequencing",
                    models.CharField(
                        choices=[("stand_alone", "stand-alone"), ("lead_lag", "lead-lag cascade")],
                        default="stand_alone",
                        max_length=12,
                    ),
                ),
                ("access_notes", models.TextField(blank=True)),
                ("retired_on", models.DateField(blank=True, null=True)),
            ],
            options={
                "ordering": ["name"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("sequencing__in", ["stand_alone", "lead_lag"])),
                        name="plant_sequencing",
                        violation_error_message="sequencing is not one of its known values.",
                    )
                ],
            },
        ),
        migrations.CreateModel(
            name="Analyser",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("tag", models.CharField(max_length=80, unique=True)),
                ("serial", models.CharField(blank=True, db_index=True, max_length=80)),
                ("type_name", models.CharField(blank=True, max_length=80)),
                (
                    "fuel_setting",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("natural_gas", "natural gas"),
                            ("methane", "methane"),
                            ("propane", "propane"),
                            ("n_butane", "n-butane"),
                            ("lpg_mix", "LPG mix"),
                            ("natural_gas_h2_05", "natural gas with 5 % hydrogen"),
                            ("natural_gas_h2_10", "natural gas with 10 % hydrogen"),
                            ("natural_gas_h2_20", "natural gas with 20 % hydrogen"),
                        ],
                        help_text="Empty: set to the fuel of each appliance.",
                        max_length=20,
                    ),
                ),
                (
                    "settle_s",
                    models.FloatField(
                        default=60,
                        help_text="Time to settle after a change. 30 to 90 s: common practice, no source.",
                    ),
                ),
                ("retired_on", models.DateField(blank=True, null=True)),
            ],
            options={
                "ordering": ["tag"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "fuel_setting__in",
                                [
                                    "",
                                    "natural_gas",
                                    "methane",
                                    "propane",
                                    "n_butane",
                                    "lpg_mix",
                                    "natural_gas_h2_05",
                                    "natural_gas_h2_10",
                                    "natural_gas_h2_20",
                                ],
                            )
                        ),
                        name="analyser_fuel_setting",
                        violation_error_message="fuel_setting is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("settle_s__isnull", True),
                            models.Q(("settle_s__gte", 1), ("settle_s__lte", 600)),
                            _connector="OR",
                        ),
                        name="analyser_settle",
                        violation_error_message="settle_s must lie between 1 and 600.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Appliance",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("tag", models.CharField(max_length=80)),
                ("serial", models.CharField(blank=True, db_index=True, max_length=80)),
                (
                    "fuel",
                    models.CharField(
                        choices=[
                            ("natural_gas", "natural gas"),
                            ("methane", "methane"),
                            ("propane", "propane"),
                            ("n_butane", "n-butane"),
                            ("lpg_mix", "LPG mix"),
                            ("natural_gas_h2_05", "natural gas with 5 % hydrogen"),
                            ("natural_gas_h2_10", "natural gas with 10 % hydrogen"),
                            ("natural_gas_h2_20", "natural gas with 20 % hydrogen"),
                        ],
                        max_length=20,
                    ),
                ),
                ("input_gross_kw", models.FloatField(blank=True, null=True)),
                ("input_stated_kw", models.FloatField(blank=True, help_text="As on the plate.", null=True)),
                (
                    "input_stated_basis",
                    models.CharField(
                        choices=[("gross", "gross"), ("net", "net")], default="gross", max_length=5
                    ),
                ),
                (
                    "air_source",
                    models.CharField(
                        choices=[
                            ("room", "room"),
                            ("ducted", "ducted"),
                            ("concentric", "concentric"),
                            ("unknown", "not known"),
                        ],
                        default="unknown",
                        max_length=10,
                    ),
                ),
                (
                    "safety_state",
                    models.CharField(
                        choices=[
                            ("in_service", "in service"),
                            ("with_advice", "in service with advice"),
                            ("left_off", "left off"),
                            ("isolated", "isolated and labelled"),
                            ("returned", "returned to service"),
                        ],
                        default="in_service",
                        max_length=12,
                    ),
                ),
                ("installed_on", models.DateField(blank=True, null=True)),
                ("next_due_on", models.DateField(blank=True, db_index=True, editable=False, null=True)),
                ("retired_on", models.DateField(blank=True, null=True)),
                (
                    "model",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="appliances",
                        to="fleet.appliancemodel",
                    ),
                ),
                (
                    "plant",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="appliances",
                        to="fleet.plant",
                    ),
                ),
            ],
            options={
                "ordering": ["tag"],
                "constraints": [
                    models.UniqueConstraint(fields=("plant", "tag"), name="appliance_tag_once_per_plant"),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "fuel__in",
                                [
                                    "natural_gas",
                                    "methane",
                                    "propane",
                                    "n_butane",
                                    "lpg_mix",
                                    "natural_gas_h2_05",
                                    "natural_gas_h2_10",
                                    "natural_gas_h2_20",
                                ],
                            )
                        ),
                        name="appliance_fuel",
                        violation_error_message="fuel is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("air_source__in", ["room", "ducted", "concentric", "unknown"])),
                        name="appliance_air_source",
                        violation_error_message="air_source is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "safety_state__in",
                                ["in_service", "with_advice", "left_off", "isolated", "returned"],
                            )
                        ),
                        name="appliance_safety_state",
                        violation_error_message="safety_state is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("input_stated_basis__in", ["gross", "net"])),
                        name="appliance_basis",
                        violation_error_message="input_stated_basis is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("input_gross_kw__isnull", True),
                            models.Q(("input_gross_kw__gte", 0.1), ("input_gross_kw__lte", 100000)),
                            _connector="OR",
                        ),
                        name="appliance_input",
                        violation_error_message="input_gross_kw must lie between 0.1 and 100000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("input_stated_kw__isnull", True),
                            models.Q(("input_stated_kw__gte", 0.1), ("input_stated_kw__lte", 100000)),
                            _connector="OR",
                        ),
                        name="appliance_input_stated",
                        violation_error_message="input_stated_kw must lie between 0.1 and 100000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("installed_on__isnull", True),
                            ("retired_on__isnull", True),
                            ("installed_on__lte", models.F("retired_on")),
                            _connector="OR",
                        ),
                        name="appliance_retired_after_installed",
                        violation_error_message="installed_on must not be above retired_on.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Burner",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, editable=False, unique=True)),
                ("position", models.PositiveSmallIntegerField(default=1)),
                ("name", models.CharField(blank=True, max_length=80)),
                ("turndown", models.FloatField(blank=True, null=True)),
                ("control_pressure_pa", models.FloatField(blank=True, null=True)),
                ("fan_high_rpm", models.FloatField(blank=True, null=True)),
                ("fan_low_rpm", models.FloatField(blank=True, null=True)),
                (
                    "appliance",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="burners",
                        to="fleet.appliance",
                    ),
                ),
            ],
            options={
                "ordering": ["appliance_id", "position"],
                "constraints": [
                    models.UniqueConstraint(fields=("appliance", "position"), name="burner_position_once"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("position__isnull", True),
                            models.Q(("position__gte", 1), ("position__lte", 99)),
                            _connector="OR",
                        ),
                        name="burner_position",
                        violation_error_message="position must lie between 1 and 99.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("turndown__isnull", True),
                            models.Q(("turndown__gte", 1), ("turndown__lte", 50)),
                            _connector="OR",
                        ),
                        name="burner_turndown",
                        violation_error_message="turndown must lie between 1 and 50.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("control_pressure_pa__isnull", True),
                            models.Q(("control_pressure_pa__gte", 1), ("control_pressure_pa__lte", 20000)),
                            _connector="OR",
                        ),
                        name="burner_control_pressure",
                        violation_error_message="control_pressure_pa must lie between 1 and 20000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("fan_high_rpm__isnull", True),
                            models.Q(("fan_high_rpm__gte", 1), ("fan_high_rpm__lte", 50000)),
                            _connector="OR",
                        ),
                        name="burner_fan_high",
                        violation_error_message="fan_high_rpm must lie between 1 and 50000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("fan_low_rpm__isnull", True),
                            models.Q(("fan_low_rpm__gte", 1), ("fan_low_rpm__lte", 50000)),
                            _connector="OR",
                        ),
                        name="burner_fan_low",
                        violation_error_message="fan_low_rpm must lie between 1 and 50000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("fan_low_rpm__isnull", True),
                            ("fan_high_rpm__isnull", True),
                            ("fan_low_rpm__lte", models.F("fan_high_rpm")),
                            _connector="OR",
                        ),
                        name="burner_fan_order",
                        violation_error_message="fan_low_rpm must not be above fan_high_rpm.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="FiringSpec",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "fuel",
                    models.CharField(
                        choices=[
                            ("natural_gas", "natural gas"),
                            ("methane", "methane"),
                            ("propane", "propane"),
                            ("n_butane", "n-butane"),
                            ("lpg_mix", "LPG mix"),
                            ("natural_gas_h2_05", "natural gas with 5 % hydrogen"),
                            ("natural_gas_h2_10", "natural gas with 10 % hydrogen"),
                            ("natural_gas_h2_20", "natural gas with 20 % hydrogen"),
                        ],
                        max_length=20,
                    ),
                ),
                (
                    "point",
                    models.CharField(
                        choices=[("high", "high fire"), ("low", "low fire"), ("percent", "part rate")],
                        max_length=8,
                    ),
                ),
                (
                    "percent",
                    models.FloatField(
                        blank=True, help_text="% of rated input, for part rate only.", null=True
                    ),
                ),
                ("target_low_co2_pct", models.FloatField(blank=True, null=True)),
                ("target_high_co2_pct", models.FloatField(blank=True, null=True)),
                ("accept_low_co2_pct", models.FloatField(blank=True, null=True)),
                ("accept_high_co2_pct", models.FloatField(blank=True, null=True)),
                (
                    "below_high_fire_low_pct",
                    models.FloatField(
                        blank=True,
                        help_text="Low fire minus high fire as left, CO2 % points, lower end (signed).",
                        null=True,
                    ),
                ),
                (
                    "below_high_fire_high_pct",
                    models.FloatField(
                        blank=True,
                        help_text="Low fire minus high fire as left, CO2 % points, upper end (signed).",
                        null=True,
                    ),
                ),
                (
                    "co_max_ppm",
                    models.FloatField(
                        blank=True, help_text="The maker's own limit, dry, as measured.", null=True
                    ),
                ),
                ("inlet_pressure_low_mbar", models.FloatField(blank=True, null=True)),
                ("inlet_pressure_high_mbar", models.FloatField(blank=True, null=True)),
                ("flue_temp_max_c", models.FloatField(blank=True, null=True)),
                (
                    "source",
                    models.CharField(
                        help_text="Where the figures come from: the maker's document, its page.",
                        max_length=200,
                    ),
                ),
                (
                    "model",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="firing_specs",
                        to="fleet.appliancemodel",
                    ),
                ),
            ],
            options={
                "ordering": ["model_id", "fuel", "point"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("percent__isnull", True)),
                        fields=("model", "fuel", "point"),
                        name="spec_once_per_point",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("percent__isnull", False)),
                        fields=("model", "fuel", "percent"),
                        name="spec_once_per_part_rate",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("point__in", ["high", "low", "percent"])),
                        name="spec_point",
                        violation_error_message="point is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "fuel__in",
                                [
                                    "natural_gas",
                                    "methane",
                                    "propane",
                                    "n_butane",
                                    "lpg_mix",
                                    "natural_gas_h2_05",
                                    "natural_gas_h2_10",
                                    "natural_gas_h2_20",
                                ],
                            )
                        ),
                        name="spec_fuel",
                        violation_error_message="fuel is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("percent__isnull", False), ("point", "percent")),
                            models.Q(
                                models.Q(("point", "percent"), _negated=True), ("percent__isnull", True)
                            ),
                            _connector="OR",
                        ),
                        name="spec_percent_with_part_rate",
                        violation_error_message="A part rate needs its percentage; high and low fire have none.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("target_low_co2_pct__isnull", True),
                            ("below_high_fire_low_pct__isnull", True),
                            _connector="OR",
                        ),
                        name="spec_band_or_difference",
                        violation_error_message="Low fire is given as its own band or as a difference, never both.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("below_high_fire_low_pct__isnull", True), ("point", "low"), _connector="OR"
                        ),
                        name="spec_difference_at_low_only",
                        violation_error_message="Only low fire is given as a difference from high fire.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("target_high_co2_pct__isnull", True), ("target_low_co2_pct__isnull", True)
                            ),
                            models.Q(
                                ("target_high_co2_pct__isnull", False), ("target_low_co2_pct__isnull", False)
                            ),
                            _connector="OR",
                        ),
                        name="spec_target_whole",
                        violation_error_message="A target band needs both ends.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(
                                ("accept_high_co2_pct__isnull", True), ("accept_low_co2_pct__isnull", True)
                            ),
                            models.Q(
                                ("accept_high_co2_pct__isnull", False), ("accept_low_co2_pct__isnull", False)
                            ),
                            _connector="OR",
                        ),
                        name="spec_acceptance_whole",
                        violation_error_message="An acceptance band needs both ends.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("percent__isnull", True),
                            models.Q(("percent__gte", 1), ("percent__lte", 100)),
                            _connector="OR",
                        ),
                        name="spec_percent",
                        violation_error_message="percent must lie between 1 and 100.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("target_low_co2_pct__isnull", True),
                            models.Q(("target_low_co2_pct__gte", 0), ("target_low_co2_pct__lte", 25)),
                            _connector="OR",
                        ),
                        name="spec_target_low",
                        violation_error_message="target_low_co2_pct must lie between 0 and 25.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("target_high_co2_pct__isnull", True),
                            models.Q(("target_high_co2_pct__gte", 0), ("target_high_co2_pct__lte", 25)),
                            _connector="OR",
                        ),
                        name="spec_target_high",
                        violation_error_message="target_high_co2_pct must lie between 0 and 25.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("accept_low_co2_pct__isnull", True),
                            models.Q(("accept_low_co2_pct__gte", 0), ("accept_low_co2_pct__lte", 25)),
                            _connector="OR",
                        ),
                        name="spec_accept_low",
                        violation_error_message="accept_low_co2_pct must lie between 0 and 25.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("accept_high_co2_pct__isnull", True),
                            models.Q(("accept_high_co2_pct__gte", 0), ("accept_high_co2_pct__lte", 25)),
                            _connector="OR",
                        ),
                        name="spec_accept_high",
                        violation_error_message="accept_high_co2_pct must lie between 0 and 25.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("co_max_ppm__isnull", True),
                            models.Q(("co_max_ppm__gte", 0), ("co_max_ppm__lte", 10000)),
                            _connector="OR",
                        ),
                        name="spec_co_max",
                        violation_error_message="co_max_ppm must lie between 0 and 10000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("target_low_co2_pct__isnull", True),
                            ("target_high_co2_pct__isnull", True),
                            ("target_low_co2_pct__lte", models.F("target_high_co2_pct")),
                            _connector="OR",
                        ),
                        name="spec_target_order",
                        violation_error_message="target_low_co2_pct must not be above target_high_co2_pct.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("accept_low_co2_pct__isnull", True),
                            ("accept_high_co2_pct__isnull", True),
                            ("accept_low_co2_pct__lte", models.F("accept_high_co2_pct")),
                            _connector="OR",
                        ),
                        name="spec_accept_order",
                        violation_error_message="accept_low_co2_pct must not be above accept_high_co2_pct.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("below_high_fire_low_pct__isnull", True),
                            ("below_high_fire_high_pct__isnull", True),
                            ("below_high_fire_low_pct__lte", models.F("below_high_fire_high_pct")),
                            _connector="OR",
                        ),
                        name="spec_difference_order",
                        violation_error_message="below_high_fire_low_pct must not be above below_high_fire_high_pct.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("inlet_pressure_low_mbar__isnull", True),
                            ("inlet_pressure_high_mbar__isnull", True),
                            ("inlet_pressure_low_mbar__lte", models.F("inlet_pressure_high_mbar")),
                            _connector="OR",
                        ),
                        name="spec_pressure_order",
                        violation_error_message="inlet_pressure_low_mbar must not be above inlet_pressure_high_mbar.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="GasArea",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=120, unique=True)),
                (
                    "supply",
                    models.CharField(
                        choices=[("network", "network"), ("tank", "tank")], default="network", max_length=8
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("supply__in", ["network", "tank"])),
                        name="gas_area_supply",
                        violation_error_message="supply is not one of its known values.",
                    )
                ],
            },
        ),
        migrations.AddField(
            model_name="appliancemodel",
            name="maker",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="models", to="fleet.maker"
            ),
        ),
        migrations.CreateModel(
            name="ModelTrim",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kind",
                    models.CharField(choices=[("throttle", "throttle"), ("offset", "offset")], max_length=8),
                ),
                ("location", models.CharField(blank=True, max_length=200)),
                ("tool", models.CharField(blank=True, max_length=80)),
                (
                    "lowers_co2",
                    models.CharField(
                        blank=True,
                        choices=[("clockwise", "clockwise"), ("anticlockwise", "anticlockwise")],
                        help_text="Empty: not known.",
                        max_length=13,
                    ),
                ),
                (
                    "mover",
                    models.CharField(
                        choices=[
                            ("field", "any licensed technician"),
                            ("maker_trained", "maker-trained only"),
                            ("sealed", "sealed: nobody in the field"),
                        ],
                        default="field",
                        max_length=13,
                    ),
                ),
                ("max_step_turns", models.FloatField(default=0.25)),
                (
                    "model",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="trims",
                        to="fleet.appliancemodel",
                    ),
                ),
            ],
            options={
                "ordering": ["model_id", "-kind"],
                "constraints": [
                    models.UniqueConstraint(fields=("model", "kind"), name="trim_kind_once_per_model"),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["throttle", "offset"])),
                        name="trim_kind",
                        violation_error_message="kind is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("lowers_co2__in", ["", "clockwise", "anticlockwise"])),
                        name="trim_lowers_co2",
                        violation_error_message="lowers_co2 is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("mover__in", ["field", "maker_trained", "sealed"])),
                        name="trim_mover",
                        violation_error_message="mover is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("max_step_turns__isnull", True),
                            models.Q(("max_step_turns__gte", 0.01), ("max_step_turns__lte", 20)),
                            _connector="OR",
                        ),
                        name="trim_max_step",
                        violation_error_message="max_step_turns must lie between 0.01 and 20.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="PartFitted",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("part", models.CharField(max_length=80)),
                ("fitted_at", models.DateTimeField()),
                ("visit_uuid", models.UUIDField(blank=True, null=True)),
                ("noted_at", models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                (
                    "burner",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="parts", to="fleet.burner"
                    ),
                ),
            ],
            options={
                "ordering": ["fitted_at"],
                "constraints": [
                    models.UniqueConstraint(fields=("burner", "part", "fitted_at"), name="part_fitted_once")
                ],
            },
        ),
        migrations.CreateModel(
            name="Contract",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("reference", models.CharField(max_length=80, unique=True)),
                ("kind", models.CharField(default="annual_service", max_length=16)),
                ("interval_months", models.PositiveSmallIntegerField(default=12)),
                (
                    "rule",
                    models.CharField(
                        choices=[
                            ("fixed_anniversary", "fixed anniversary"),
                            ("from_last_done", "from last done"),
                        ],
                        default="from_last_done",
                        max_length=18,
                    ),
                ),
                (
                    "anniversary_on",
                    models.DateField(
                        blank=True,
                        help_text="Any date with the anniversary's day and month (fixed anniversary only).",
                        null=True,
                    ),
                ),
                ("window_before_days", models.PositiveSmallIntegerField(default=30)),
                ("window_after_days", models.PositiveSmallIntegerField(default=30)),
                (
                    "avoid_months",
                    models.JSONField(
                        blank=True, default=list, help_text="Months 1 to 12 in which not to come."
                    ),
                ),
                ("starts_on", models.DateField()),
                ("ends_on", models.DateField(blank=True, null=True)),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="contracts",
                        to="fleet.customer",
                    ),
                ),
                ("plants", models.ManyToManyField(blank=True, related_name="contracts", to="fleet.plant")),
            ],
            options={
                "ordering": ["reference"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["annual_service"])),
                        name="contract_kind",
                        violation_error_message="kind is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("rule__in", ["fixed_anniversary", "from_last_done"])),
                        name="contract_rule",
                        violation_error_message="rule is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("interval_months__isnull", True),
                            models.Q(("interval_months__gte", 1), ("interval_months__lte", 60)),
                            _connector="OR",
                        ),
                        name="contract_interval",
                        violation_error_message="interval_months must lie between 1 and 60.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("starts_on__isnull", True),
                            ("ends_on__isnull", True),
                            ("starts_on__lte", models.F("ends_on")),
                            _connector="OR",
                        ),
                        name="contract_ends_after_start",
                        violation_error_message="starts_on must not be above ends_on.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("rule", "from_last_done"), ("anniversary_on__isnull", False), _connector="OR"
                        ),
                        name="contract_anniversary_known",
                        violation_error_message="A fixed anniversary needs its date.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="SafetyLimit",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "quantity",
                    models.CharField(
                        choices=[
                            ("co_air_free_ppm", "CO, air-free, ppm"),
                            ("co_ppm", "CO, dry as measured, ppm"),
                            ("co_co2_ratio", "CO/CO2 ratio"),
                            ("ambient_co_ppm", "CO in room air, ppm"),
                        ],
                        max_length=16,
                    ),
                ),
                (
                    "level",
                    models.CharField(
                        choices=[("investigate", "investigate"), ("make_safe", "make safe")], max_length=12
                    ),
                ),
                ("value", models.FloatField()),
                (
                    "country",
                    models.CharField(blank=True, help_text="ISO 3166-1; empty: everywhere.", max_length=2),
                ),
                ("source", models.CharField(max_length=200)),
                (
                    "mark",
                    models.CharField(
                        choices=[
                            ("read", "read in the source or a copy of it"),
                            ("memory", "from memory, to be verified"),
                            ("practice", "common practice, no source"),
                            ("own", "the firm's or customer's own"),
                        ],
                        max_length=8,
                    ),
                ),
                ("in_force_on", models.DateField()),
                (
                    "customer",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="limits",
                        to="fleet.customer",
                    ),
                ),
            ],
            options={
                "ordering": ["quantity", "level", "country"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("customer__isnull", True)),
                        fields=("quantity", "level", "country", "in_force_on"),
                        name="limit_once_per_country",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("customer__isnull", False)),
                        fields=("quantity", "level", "country", "customer", "in_force_on"),
                        name="limit_once_per_customer",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("quantity__in", ["co_air_free_ppm", "co_ppm", "co_co2_ratio", "ambient_co_ppm"])
                        ),
                        name="limit_quantity",
                        violation_error_message="quantity is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("level__in", ["investigate", "make_safe"])),
                        name="limit_level",
                        violation_error_message="level is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("mark__in", ["read", "memory", "practice", "own"])),
                        name="limit_mark",
                        violation_error_message="mark is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("value__isnull", True),
                            models.Q(("value__gte", 0), ("value__lte", 100000)),
                            _connector="OR",
                        ),
                        name="limit_value",
                        violation_error_message="value must lie between 0 and 100000.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Site",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=200)),
                ("address", models.TextField(blank=True)),
                ("latitude", models.FloatField(blank=True, null=True)),
                ("longitude", models.FloatField(blank=True, null=True)),
                ("elevation_m", models.FloatField(blank=True, null=True)),
                (
                    "time_zone",
                    models.CharField(
                        default="Europe/London",
                        max_length=50,
                        validators=[fleet.models.customers.known_time_zone],
                    ),
                ),
                ("design_winter_air_c", models.FloatField(blank=True, null=True)),
                ("design_summer_air_c", models.FloatField(blank=True, null=True)),
                ("access_notes", models.TextField(blank=True)),
                ("retired_on", models.DateField(blank=True, null=True)),
                (
                    "customer",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="sites", to="fleet.customer"
                    ),
                ),
                (
                    "gas_area",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="sites",
                        to="fleet.gasarea",
                    ),
                ),
            ],
            options={
                "ordering": ["name"],
                "constraints": [
                    models.UniqueConstraint(fields=("customer", "name"), name="site_name_once_per_customer"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("latitude__isnull", True),
                            models.Q(("latitude__gte", -90), ("latitude__lte", 90)),
                            _connector="OR",
                        ),
                        name="site_latitude",
                        violation_error_message="latitude must lie between -90 and 90.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("longitude__isnull", True),
                            models.Q(("longitude__gte", -180), ("longitude__lte", 180)),
                            _connector="OR",
                        ),
                        name="site_longitude",
                        violation_error_message="longitude must lie between -180 and 180.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("elevation_m__isnull", True),
                            models.Q(("elevation_m__gte", -450), ("elevation_m__lte", 5000)),
                            _connector="OR",
                        ),
                        name="site_elevation",
                        violation_error_message="elevation_m must lie between -450 and 5000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("design_winter_air_c__isnull", True),
                            models.Q(("design_winter_air_c__gte", -60), ("design_winter_air_c__lte", 60)),
                            _connector="OR",
                        ),
                        name="site_design_winter",
                        violation_error_message="design_winter_air_c must lie between -60 and 60.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("design_summer_air_c__isnull", True),
                            models.Q(("design_summer_air_c__gte", -60), ("design_summer_air_c__lte", 60)),
                            _connector="OR",
                        ),
                        name="site_design_summer",
                        violation_error_message="design_summer_air_c must lie between -60 and 60.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("design_winter_air_c__isnull", True),
                            ("design_summer_air_c__isnull", True),
                            ("design_winter_air_c__lte", models.F("design_summer_air_c")),
                            _connector="OR",
                        ),
                        name="site_winter_below_summer",
                        violation_error_message="design_winter_air_c must not be above design_summer_air_c.",
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="plant",
            name="site",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="plants", to="fleet.site"
            ),
        ),
        migrations.CreateModel(
            name="SiteContact",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "site",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="contacts", to="fleet.site"
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="contact_sites",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("site", "user"), name="site_contact_once")],
            },
        ),
        migrations.CreateModel(
            name="AnalyserChannel",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "quantity",
                    models.CharField(
                        choices=[
                            ("o2_pct", "O2, dry vol %"),
                            ("co2_pct", "CO2, dry vol %"),
                            ("co_ppm", "CO, dry ppm"),
                            ("nox_ppm", "NOx, dry ppm"),
                            ("flue_temp_c", "flue temperature, °C"),
                            ("air_temp_c", "air temperature, °C"),
                            ("pressure_mbar", "pressure, mbar"),
                        ],
                        max_length=14,
                    ),
                ),
                (
                    "source",
                    models.CharField(
                        choices=[
                            ("measured", "measured"),
                            ("derived", "derived"),
                            ("unknown", "not known: counts as derived"),
                        ],
                        default="unknown",
                        max_length=8,
                    ),
                ),
                ("accuracy_abs", models.FloatField(blank=True, null=True)),
                ("accuracy_rel", models.FloatField(blank=True, null=True)),
                ("resolution", models.FloatField(blank=True, null=True)),
                ("range_high", models.FloatField(blank=True, null=True)),
                (
                    "analyser",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="channels",
                        to="fleet.analyser",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=("analyser", "quantity"), name="channel_once_per_quantity"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "quantity__in",
                                [
                                    "o2_pct",
                                    "co2_pct",
                                    "co_ppm",
                                    "nox_ppm",
                                    "flue_temp_c",
                                    "air_temp_c",
                                    "pressure_mbar",
                                ],
                            )
                        ),
                        name="channel_quantity",
                        violation_error_message="quantity is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("source__in", ["measured", "derived", "unknown"])),
                        name="channel_source",
                        violation_error_message="source is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("accuracy_abs__isnull", True),
                            models.Q(("accuracy_abs__gte", 0), ("accuracy_abs__lte", 1000)),
                            _connector="OR",
                        ),
                        name="channel_accuracy_abs",
                        violation_error_message="accuracy_abs must lie between 0 and 1000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("accuracy_rel__isnull", True),
                            models.Q(("accuracy_rel__gte", 0), ("accuracy_rel__lte", 1)),
                            _connector="OR",
                        ),
                        name="channel_accuracy_rel",
                        violation_error_message="accuracy_rel must lie between 0 and 1.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("resolution__isnull", True),
                            models.Q(("resolution__gte", 0), ("resolution__lte", 100)),
                            _connector="OR",
                        ),
                        name="channel_resolution",
                        violation_error_message="resolution must lie between 0 and 100.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("range_high__isnull", True),
                            models.Q(("range_high__gte", 0), ("range_high__lte", 100000)),
                            _connector="OR",
                        ),
                        name="channel_range",
                        violation_error_message="range_high must lie between 0 and 100000.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="AnalyserPeriod",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "began",
                    models.CharField(
                        choices=[
                            ("calibration", "calibration"),
                            ("sensor_change", "sensor change"),
                            ("unknown", "not known"),
                        ],
                        default="calibration",
                        max_length=14,
                    ),
                ),
                (
                    "starts_on",
                    models.DateField(blank=True, help_text="Empty: before anything recorded.", null=True),
                ),
                ("calibration_due_on", models.DateField(blank=True, null=True)),
                ("certificate", models.CharField(blank=True, max_length=80)),
                ("bias_co2_pct", models.FloatField(editable=False, null=True)),
                ("bias_u_co2_pct", models.FloatField(editable=False, null=True)),
                ("bias_readings", models.PositiveIntegerField(default=0, editable=False)),
                ("bias_weak", models.BooleanField(default=True, editable=False)),
                ("bias_run", models.BigIntegerField(editable=False, null=True)),
                (
                    "analyser",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="periods",
                        to="fleet.analyser",
                    ),
                ),
            ],
            options={
                "ordering": ["analyser_id", models.OrderBy(models.F("starts_on"), nulls_first=True)],
                "constraints": [
                    models.UniqueConstraint(fields=("analyser", "starts_on"), name="period_start_once"),
                    models.UniqueConstraint(
                        condition=models.Q(("starts_on__isnull", True)),
                        fields=("analyser",),
                        name="period_unknown_start_once",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("began__in", ["calibration", "sensor_change", "unknown"])),
                        name="period_began",
                        violation_error_message="began is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("starts_on__isnull", True),
                            ("calibration_due_on__isnull", True),
                            ("starts_on__lte", models.F("calibration_due_on")),
                            _connector="OR",
                        ),
                        name="period_due_after_start",
                        violation_error_message="starts_on must not be above calibration_due_on.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("bias_co2_pct__isnull", True),
                            models.Q(("bias_co2_pct__gt", -1000000.0), ("bias_co2_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="period_bias_co2_pct_finite",
                        violation_error_message="bias_co2_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("bias_u_co2_pct__isnull", True),
                            models.Q(("bias_u_co2_pct__gt", -1000000.0), ("bias_u_co2_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="period_bias_u_co2_pct_finite",
                        violation_error_message="bias_u_co2_pct must be a finite number of absolute value under 1e6.",
                    ),
                ],
            },
        ),
        migrations.AddConstraint(
            model_name="appliancemodel",
            constraint=models.UniqueConstraint(fields=("maker", "name"), name="model_name_once_per_maker"),
        ),
        migrations.AddIndex(
            model_name="appliance",
            index=models.Index(fields=["tag"], name="fleet_appli_tag_5a6c81_idx"),
        ),
        migrations.AddConstraint(
            model_name="plant",
            constraint=models.UniqueConstraint(fields=("site", "name"), name="plant_name_once_per_site"),
        ),
    ]
