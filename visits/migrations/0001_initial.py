import uuid

import django.db.models.deletion
import django.db.models.functions.datetime
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("fleet", "0001_initial"),
        ("people", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="Attendance",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(default=uuid.uuid4, unique=True)),
                ("local_on", models.DateField(help_text="The day at the site.")),
                ("planned_start_at", models.DateTimeField(blank=True, null=True)),
                (
                    "position",
                    models.PositiveSmallIntegerField(default=0, help_text="Order in the technician's day."),
                ),
                ("arrived_at", models.DateTimeField(blank=True, null=True)),
                ("left_at", models.DateTimeField(blank=True, null=True)),
                ("travel_minutes", models.FloatField(blank=True, null=True)),
                ("access_notes", models.TextField(blank=True)),
                ("contact_name", models.CharField(blank=True, max_length=120)),
                ("signed_name", models.CharField(blank=True, max_length=120)),
                ("signed_at", models.DateTimeField(blank=True, null=True)),
                ("cancelled_at", models.DateTimeField(blank=True, null=True)),
                (
                    "booked_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "plant",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attendances",
                        to="fleet.plant",
                    ),
                ),
                (
                    "technician",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attendances",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["local_on", "position", "id"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("cancelled_at__isnull", True)),
                        fields=("plant", "technician", "local_on"),
                        name="attendance_once_per_day",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("cancelled_at__isnull", True), ("technician__isnull", True)),
                        fields=("plant", "local_on"),
                        name="attendance_unnamed_once_per_day",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="FiringTest",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.CharField(max_length=64)),
                ("withdrawn_reason", models.CharField(blank=True, max_length=200)),
                (
                    "point",
                    models.CharField(
                        choices=[("high", "high fire"), ("low", "low fire"), ("percent", "part rate")],
                        max_length=8,
                    ),
                ),
                ("percent", models.FloatField(blank=True, null=True)),
                (
                    "phase",
                    models.CharField(
                        choices=[("as_found", "as found"), ("working", "working"), ("as_left", "as left")],
                        max_length=8,
                    ),
                ),
                ("sequence", models.PositiveIntegerField()),
                (
                    "observed_at",
                    models.DateTimeField(help_text="Device clock, of the settled value.", null=True),
                ),
                (
                    "settled",
                    models.CharField(
                        choices=[
                            ("stated", "settled, as stated"),
                            ("streamed", "settled, from the stream"),
                            ("not_settled", "not settled"),
                            ("unknown", "not known"),
                        ],
                        default="unknown",
                        max_length=11,
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
                    "co2_source",
                    models.CharField(
                        choices=[("measured", "measured"), ("derived", "derived")],
                        default="derived",
                        max_length=8,
                    ),
                ),
                (
                    "moved_before",
                    models.BooleanField(
                        help_text="A trim had moved before this as-found test was read.", null=True
                    ),
                ),
                (
                    "inferred",
                    models.BooleanField(
                        default=False, help_text="Corrected for a throttle move made before it."
                    ),
                ),
                (
                    "kept_out",
                    models.CharField(
                        blank=True, help_text="Why drift leaves it out, as a code.", max_length=40
                    ),
                ),
                ("co2_pct", models.FloatField(null=True)),
                ("o2_pct", models.FloatField(null=True)),
                ("co_ppm", models.FloatField(null=True)),
                ("nox_ppm", models.FloatField(null=True)),
                ("flue_temp_c", models.FloatField(null=True)),
                ("air_temp_c", models.FloatField(null=True)),
                ("flow_temp_c", models.FloatField(null=True)),
                ("return_temp_c", models.FloatField(null=True)),
                ("inlet_pressure_mbar", models.FloatField(null=True)),
                ("gas_rate_m3_h", models.FloatField(null=True)),
                ("flame_signal_ua", models.FloatField(null=True)),
                ("fan_rpm", models.FloatField(null=True)),
                ("ambient_co_ppm", models.FloatField(null=True)),
                (
                    "burner",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="firing_tests",
                        to="fleet.burner",
                    ),
                ),
            ],
            options={
                "ordering": ["visit_id", "sequence", "id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("point__in", ["high", "low", "percent"])),
                        name="test_point",
                        violation_error_message="point is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("phase__in", ["as_found", "working", "as_left"])),
                        name="test_phase",
                        violation_error_message="phase is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("settled__in", ["stated", "streamed", "not_settled", "unknown"])),
                        name="test_settled",
                        violation_error_message="settled is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("co2_source__in", ["measured", "derived"])),
                        name="test_co2_source",
                        violation_error_message="co2_source is not one of its known values.",
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
                        name="test_fuel",
                        violation_error_message="fuel is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("co2_pct__isnull", True),
                            models.Q(("co2_pct__gt", -1000000.0), ("co2_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_co2_pct_finite",
                        violation_error_message="co2_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("o2_pct__isnull", True),
                            models.Q(("o2_pct__gt", -1000000.0), ("o2_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_o2_pct_finite",
                        violation_error_message="o2_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("co_ppm__isnull", True),
                            models.Q(("co_ppm__gt", -1000000.0), ("co_ppm__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_co_ppm_finite",
                        violation_error_message="co_ppm must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("nox_ppm__isnull", True),
                            models.Q(("nox_ppm__gt", -1000000.0), ("nox_ppm__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_nox_ppm_finite",
                        violation_error_message="nox_ppm must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("flue_temp_c__isnull", True),
                            models.Q(("flue_temp_c__gt", -1000000.0), ("flue_temp_c__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_flue_temp_c_finite",
                        violation_error_message="flue_temp_c must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("air_temp_c__isnull", True),
                            models.Q(("air_temp_c__gt", -1000000.0), ("air_temp_c__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_air_temp_c_finite",
                        violation_error_message="air_temp_c must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("flow_temp_c__isnull", True),
                            models.Q(("flow_temp_c__gt", -1000000.0), ("flow_temp_c__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_flow_temp_c_finite",
                        violation_error_message="flow_temp_c must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("return_temp_c__isnull", True),
                            models.Q(("return_temp_c__gt", -1000000.0), ("return_temp_c__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_return_temp_c_finite",
                        violation_error_message="return_temp_c must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("inlet_pressure_mbar__isnull", True),
                            models.Q(
                                ("inlet_pressure_mbar__gt", -1000000.0),
                                ("inlet_pressure_mbar__lt", 1000000.0),
                            ),
                            _connector="OR",
                        ),
                        name="test_inlet_pressure_mbar_finite",
                        violation_error_message="inlet_pressure_mbar must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("gas_rate_m3_h__isnull", True),
                            models.Q(("gas_rate_m3_h__gt", -1000000.0), ("gas_rate_m3_h__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_gas_rate_m3_h_finite",
                        violation_error_message="gas_rate_m3_h must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("flame_signal_ua__isnull", True),
                            models.Q(("flame_signal_ua__gt", -1000000.0), ("flame_signal_ua__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_flame_signal_ua_finite",
                        violation_error_message="flame_signal_ua must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("fan_rpm__isnull", True),
                            models.Q(("fan_rpm__gt", -1000000.0), ("fan_rpm__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_fan_rpm_finite",
                        violation_error_message="fan_rpm must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("ambient_co_ppm__isnull", True),
                            models.Q(("ambient_co_ppm__gt", -1000000.0), ("ambient_co_ppm__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_ambient_co_ppm_finite",
                        violation_error_message="ambient_co_ppm must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("percent__isnull", True),
                            models.Q(("percent__gt", -1000000.0), ("percent__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="test_percent_finite",
                        violation_error_message="percent must be a finite number of absolute value under 1e6.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="TestResult",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("engine_version", models.PositiveSmallIntegerField()),
                ("bias_run", models.BigIntegerField(null=True)),
                (
                    "verdict",
                    models.CharField(
                        choices=[
                            ("inside", "inside"),
                            ("probably_inside", "probably inside"),
                            ("probably_outside", "probably outside"),
                            ("outside", "outside"),
                            ("not_judged", "not judged"),
                        ],
                        default="not_judged",
                        max_length=16,
                    ),
                ),
                ("p_inside", models.FloatField(null=True)),
                ("target_low_co2_pct", models.FloatField(null=True)),
                ("target_high_co2_pct", models.FloatField(null=True)),
                ("accept_low_co2_pct", models.FloatField(null=True)),
                ("accept_high_co2_pct", models.FloatField(null=True)),
                ("air_ratio", models.FloatField(null=True)),
                ("u_air_ratio", models.FloatField(null=True)),
                ("excess_air_pct", models.FloatField(null=True)),
                ("u_excess_air_pct", models.FloatField(null=True)),
                ("o2_pct", models.FloatField(null=True)),
                ("u_o2_pct", models.FloatField(null=True)),
                ("co2_pct", models.FloatField(null=True)),
                ("u_co2_pct", models.FloatField(null=True)),
                ("co_air_free_ppm", models.FloatField(null=True)),
                ("u_co_air_free_ppm", models.FloatField(null=True)),
                ("co_co2_ratio", models.FloatField(null=True)),
                ("u_co_co2_ratio", models.FloatField(null=True)),
                ("dew_point_c", models.FloatField(null=True)),
                ("u_dew_point_c", models.FloatField(null=True)),
                ("condensed_pct", models.FloatField(null=True)),
                ("u_condensed_pct", models.FloatField(null=True)),
                ("sensible_loss_gross_pct", models.FloatField(null=True)),
                ("u_sensible_loss_gross_pct", models.FloatField(null=True)),
                ("latent_loss_gross_pct", models.FloatField(null=True)),
                ("u_latent_loss_gross_pct", models.FloatField(null=True)),
                ("efficiency_gross_pct", models.FloatField(null=True)),
                ("u_efficiency_gross_pct", models.FloatField(null=True)),
                ("efficiency_net_pct", models.FloatField(null=True)),
                ("u_efficiency_net_pct", models.FloatField(null=True)),
                (
                    "why",
                    models.JSONField(
                        default=dict, help_text="Quantity to reason code, for what could not be given."
                    ),
                ),
                (
                    "spec",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.SET_NULL,
                        related_name="+",
                        to="fleet.firingspec",
                    ),
                ),
                (
                    "test",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="results",
                        to="visits.firingtest",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("test", "engine_version"), name="result_once_per_engine"),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "verdict__in",
                                ["inside", "probably_inside", "probably_outside", "outside", "not_judged"],
                            )
                        ),
                        name="result_verdict",
                        violation_error_message="verdict is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("air_ratio__isnull", True),
                            models.Q(("air_ratio__gt", -1000000.0), ("air_ratio__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_air_ratio_finite",
                        violation_error_message="air_ratio must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("excess_air_pct__isnull", True),
                            models.Q(("excess_air_pct__gt", -1000000.0), ("excess_air_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_excess_air_pct_finite",
                        violation_error_message="excess_air_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("o2_pct__isnull", True),
                            models.Q(("o2_pct__gt", -1000000.0), ("o2_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_o2_pct_finite",
                        violation_error_message="o2_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("co2_pct__isnull", True),
                            models.Q(("co2_pct__gt", -1000000.0), ("co2_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_co2_pct_finite",
                        violation_error_message="co2_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("co_air_free_ppm__isnull", True),
                            models.Q(("co_air_free_ppm__gt", -1000000.0), ("co_air_free_ppm__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_co_air_free_ppm_finite",
                        violation_error_message="co_air_free_ppm must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("co_co2_ratio__isnull", True),
                            models.Q(("co_co2_ratio__gt", -1000000.0), ("co_co2_ratio__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_co_co2_ratio_finite",
                        violation_error_message="co_co2_ratio must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("dew_point_c__isnull", True),
                            models.Q(("dew_point_c__gt", -1000000.0), ("dew_point_c__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_dew_point_c_finite",
                        violation_error_message="dew_point_c must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("condensed_pct__isnull", True),
                            models.Q(("condensed_pct__gt", -1000000.0), ("condensed_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_condensed_pct_finite",
                        violation_error_message="condensed_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("sensible_loss_gross_pct__isnull", True),
                            models.Q(
                                ("sensible_loss_gross_pct__gt", -1000000.0),
                                ("sensible_loss_gross_pct__lt", 1000000.0),
                            ),
                            _connector="OR",
                        ),
                        name="result_sensible_loss_gross_pct_finite",
                        violation_error_message="sensible_loss_gross_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("latent_loss_gross_pct__isnull", True),
                            models.Q(
                                ("latent_loss_gross_pct__gt", -1000000.0),
                                ("latent_loss_gross_pct__lt", 1000000.0),
                            ),
                            _connector="OR",
                        ),
                        name="result_latent_loss_gross_pct_finite",
                        violation_error_message="latent_loss_gross_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("efficiency_gross_pct__isnull", True),
                            models.Q(
                                ("efficiency_gross_pct__gt", -1000000.0),
                                ("efficiency_gross_pct__lt", 1000000.0),
                            ),
                            _connector="OR",
                        ),
                        name="result_efficiency_gross_pct_finite",
                        violation_error_message="efficiency_gross_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("efficiency_net_pct__isnull", True),
                            models.Q(
                                ("efficiency_net_pct__gt", -1000000.0), ("efficiency_net_pct__lt", 1000000.0)
                            ),
                            _connector="OR",
                        ),
                        name="result_efficiency_net_pct_finite",
                        violation_error_message="efficiency_net_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("u_air_ratio__isnull", True),
                            models.Q(("u_air_ratio__gt", -1000000.0), ("u_air_ratio__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_u_air_ratio_finite",
                        violation_error_message="u_air_ratio must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("u_excess_air_pct__isnull", True),
                            models.Q(
                                ("u_excess_air_pct__gt", -1000000.0), ("u_excess_air_pct__lt", 1000000.0)
                            ),
                            _connector="OR",
                        ),
                        name="result_u_excess_air_pct_finite",
                        violation_error_message="u_excess_air_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("u_o2_pct__isnull", True),
                            models.Q(("u_o2_pct__gt", -1000000.0), ("u_o2_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_u_o2_pct_finite",
                        violation_error_message="u_o2_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("u_co2_pct__isnull", True),
                            models.Q(("u_co2_pct__gt", -1000000.0), ("u_co2_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_u_co2_pct_finite",
                        violation_error_message="u_co2_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("u_co_air_free_ppm__isnull", True),
                            models.Q(
                                ("u_co_air_free_ppm__gt", -1000000.0), ("u_co_air_free_ppm__lt", 1000000.0)
                            ),
                            _connector="OR",
                        ),
                        name="result_u_co_air_free_ppm_finite",
                        violation_error_message="u_co_air_free_ppm must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("u_co_co2_ratio__isnull", True),
                            models.Q(("u_co_co2_ratio__gt", -1000000.0), ("u_co_co2_ratio__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_u_co_co2_ratio_finite",
                        violation_error_message="u_co_co2_ratio must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("u_dew_point_c__isnull", True),
                            models.Q(("u_dew_point_c__gt", -1000000.0), ("u_dew_point_c__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_u_dew_point_c_finite",
                        violation_error_message="u_dew_point_c must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("u_condensed_pct__isnull", True),
                            models.Q(("u_condensed_pct__gt", -1000000.0), ("u_condensed_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_u_condensed_pct_finite",
                        violation_error_message="u_condensed_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("u_sensible_loss_gross_pct__isnull", True),
                            models.Q(
                                ("u_sensible_loss_gross_pct__gt", -1000000.0),
                                ("u_sensible_loss_gross_pct__lt", 1000000.0),
                            ),
                            _connector="OR",
                        ),
                        name="result_u_sensible_loss_gross_pct_finite",
                        violation_error_message="u_sensible_loss_gross_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("u_latent_loss_gross_pct__isnull", True),
                            models.Q(
                                ("u_latent_loss_gross_pct__gt", -1000000.0),
                                ("u_latent_loss_gross_pct__lt", 1000000.0),
                            ),
                            _connector="OR",
                        ),
                        name="result_u_latent_loss_gross_pct_finite",
                        violation_error_message="u_latent_loss_gross_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("u_efficiency_gross_pct__isnull", True),
                            models.Q(
                                ("u_efficiency_gross_pct__gt", -1000000.0),
                                ("u_efficiency_gross_pct__lt", 1000000.0),
                            ),
                            _connector="OR",
                        ),
                        name="result_u_efficiency_gross_pct_finite",
                        violation_error_message="u_efficiency_gross_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("u_efficiency_net_pct__isnull", True),
                            models.Q(
                                ("u_efficiency_net_pct__gt", -1000000.0),
                                ("u_efficiency_net_pct__lt", 1000000.0),
                            ),
                            _connector="OR",
                        ),
                        name="result_u_efficiency_net_pct_finite",
                        violation_error_message="u_efficiency_net_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("p_inside__isnull", True),
                            models.Q(("p_inside__gt", -1000000.0), ("p_inside__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="result_p_inside_finite",
                        violation_error_message="p_inside must be a finite number of absolute value under 1e6.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Visit",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("uuid", models.UUIDField(unique=True)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("commissioning", "commissioning"),
                            ("annual_service", "annual service"),
                            ("recheck", "recheck"),
                            ("breakdown", "breakdown"),
                        ],
                        max_length=16,
                    ),
                ),
                (
                    "source",
                    models.CharField(
                        choices=[
                            ("rest", "sent by a device"),
                            ("browser", "entered in the browser"),
                            ("import", "imported history"),
                        ],
                        default="rest",
                        max_length=8,
                    ),
                ),
                (
                    "analyser_text",
                    models.CharField(
                        blank=True, help_text="An analyser that is not on file.", max_length=120
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
                        help_text="Burned on the day.",
                        max_length=20,
                    ),
                ),
                ("opened_at", models.DateTimeField(help_text="Device clock.")),
                ("closed_at", models.DateTimeField(blank=True, help_text="Device clock.", null=True)),
                ("local_on", models.DateField(help_text="The day at the site.")),
                (
                    "received_at",
                    models.DateTimeField(
                        db_default=django.db.models.functions.datetime.Now(),
                        help_text="Our clock, first save.",
                    ),
                ),
                ("closed_received_at", models.DateTimeField(blank=True, help_text="Our clock.", null=True)),
                (
                    "outcome",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("completed", "completed"),
                            ("no_heat_load", "partly done: no heat load"),
                            ("limit_reached", "partly done: limit reached"),
                            ("part_needed", "partly done: part needed"),
                            ("partly_done", "partly done"),
                            ("no_access", "no access"),
                            ("refused", "refused"),
                            ("left_off", "left off"),
                        ],
                        max_length=14,
                    ),
                ),
                ("revision", models.PositiveIntegerField(default=1)),
                ("uncountersigned", models.BooleanField(default=False)),
                ("countersigned_at", models.DateTimeField(blank=True, null=True)),
                ("notes", models.TextField(blank=True)),
                ("health_as_found", models.FloatField(null=True)),
                ("health_as_found_full", models.BooleanField(default=False)),
                ("health_as_found_weakest", models.CharField(blank=True, max_length=80)),
                ("health_as_left", models.FloatField(null=True)),
                ("health_as_left_full", models.BooleanField(default=False)),
                ("health_as_left_weakest", models.CharField(blank=True, max_length=80)),
                (
                    "health_checked",
                    models.JSONField(default=dict, help_text="Phase to the names of the limits checked."),
                ),
                (
                    "analyser",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="visits",
                        to="fleet.analyser",
                    ),
                ),
                (
                    "analyser_period",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="visits",
                        to="fleet.analyserperiod",
                    ),
                ),
                (
                    "appliance",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="visits",
                        to="fleet.appliance",
                    ),
                ),
                (
                    "attendance",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="visits",
                        to="visits.attendance",
                    ),
                ),
                (
                    "countersigned_by",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "technician",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="visits",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("kind__in", ["commissioning", "annual_service", "recheck", "breakdown"])
                        ),
                        name="visit_kind",
                        violation_error_message="kind is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("source__in", ["rest", "browser", "import"])),
                        name="visit_source",
                        violation_error_message="source is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "outcome__in",
                                [
                                    "",
                                    "completed",
                                    "no_heat_load",
                                    "limit_reached",
                                    "part_needed",
                                    "partly_done",
                                    "no_access",
                                    "refused",
                                    "left_off",
                                ],
                            )
                        ),
                        name="visit_outcome",
                        violation_error_message="outcome is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("closed_at__isnull", True), ("outcome", "")),
                            models.Q(("closed_at__isnull", False), models.Q(("outcome", ""), _negated=True)),
                            _connector="OR",
                        ),
                        name="visit_closed_with_outcome",
                        violation_error_message="A visit is closed with an outcome, and has none while it is open.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("countersigned_at__isnull", True), ("countersigned_by__isnull", True)),
                            models.Q(
                                ("countersigned_at__isnull", False), ("countersigned_by__isnull", False)
                            ),
                            _connector="OR",
                        ),
                        name="visit_countersigned_by_someone",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("health_as_found__isnull", True),
                            models.Q(("health_as_found__gt", -1000000.0), ("health_as_found__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="visit_health_as_found_finite",
                        violation_error_message="health_as_found must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("health_as_left__isnull", True),
                            models.Q(("health_as_left__gt", -1000000.0), ("health_as_left__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="visit_health_as_left_finite",
                        violation_error_message="health_as_left must be a finite number of absolute value under 1e6.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="TemporaryChange",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.CharField(max_length=64)),
                ("withdrawn_reason", models.CharField(blank=True, max_length=200)),
                ("what", models.CharField(max_length=120)),
                ("was", models.CharField(blank=True, max_length=120)),
                ("set_to", models.CharField(blank=True, max_length=120)),
                ("changed_at", models.DateTimeField(blank=True, null=True)),
                ("put_back_at", models.DateTimeField(blank=True, null=True)),
                (
                    "reason",
                    models.CharField(blank=True, help_text="Why it was not put back.", max_length=400),
                ),
                (
                    "visit",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="%(class)ss",
                        to="visits.visit",
                    ),
                ),
            ],
            options={
                "ordering": ["visit_id", "changed_at", "id"],
                "constraints": [
                    models.UniqueConstraint(fields=("visit", "key"), name="temporary_change_key_once")
                ],
            },
        ),
        migrations.AddField(
            model_name="firingtest",
            name="visit",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE, related_name="%(class)ss", to="visits.visit"
            ),
        ),
        migrations.CreateModel(
            name="Finding",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("code", models.CharField(max_length=40)),
                (
                    "subject",
                    models.CharField(
                        blank=True, help_text="test:KEY, change:KEY, burner:N or empty.", max_length=80
                    ),
                ),
                (
                    "severity",
                    models.CharField(
                        choices=[
                            ("make_safe", "make safe"),
                            ("act", "act"),
                            ("advise", "advise"),
                            ("note", "note"),
                        ],
                        max_length=9,
                    ),
                ),
                ("value", models.FloatField(null=True)),
                ("limit", models.FloatField(null=True)),
                ("unit", models.CharField(blank=True, max_length=20)),
                ("probability", models.FloatField(null=True)),
                ("rests_on", models.JSONField(default=dict)),
                ("holds", models.BooleanField(default=True)),
                (
                    "life",
                    models.CharField(
                        choices=[("open", "open"), ("done", "done")], default="open", max_length=8
                    ),
                ),
                ("made_at", models.DateTimeField()),
                (
                    "appliance",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="findings",
                        to="fleet.appliance",
                    ),
                ),
                (
                    "burner",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="findings",
                        to="fleet.burner",
                    ),
                ),
                (
                    "visit",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="findings",
                        to="visits.visit",
                    ),
                ),
            ],
            options={
                "ordering": ["visit_id", "id"],
                "constraints": [
                    models.UniqueConstraint(fields=("visit", "code", "subject"), name="finding_once"),
                    models.CheckConstraint(
                        condition=models.Q(("severity__in", ["make_safe", "act", "advise", "note"])),
                        name="finding_severity",
                        violation_error_message="severity is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("life__in", ["open", "done"])),
                        name="finding_life",
                        violation_error_message="life is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("value__isnull", True),
                            models.Q(("value__gt", -1000000.0), ("value__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="finding_value_finite",
                        violation_error_message="value must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("limit__isnull", True),
                            models.Q(("limit__gt", -1000000.0), ("limit__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="finding_limit_finite",
                        violation_error_message="limit must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("probability__isnull", True),
                            models.Q(("probability__gt", -1000000.0), ("probability__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="finding_probability_finite",
                        violation_error_message="probability must be a finite number of absolute value under 1e6.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Adjustment",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.CharField(max_length=64)),
                ("withdrawn_reason", models.CharField(blank=True, max_length=200)),
                ("trim", models.CharField(max_length=40)),
                ("at", models.DateTimeField(blank=True, null=True)),
                ("direction", models.CharField(blank=True, max_length=20)),
                ("turns", models.FloatField(blank=True, null=True)),
                ("marks", models.FloatField(blank=True, null=True)),
                ("before_test", models.CharField(blank=True, max_length=64)),
                ("after_test", models.CharField(blank=True, max_length=64)),
                (
                    "before_co2_pct",
                    models.FloatField(help_text="Settled value before, where that test is known.", null=True),
                ),
                (
                    "after_co2_pct",
                    models.FloatField(help_text="Settled value after, where that test is known.", null=True),
                ),
                (
                    "burner",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="adjustments",
                        to="fleet.burner",
                    ),
                ),
                (
                    "visit",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="%(class)ss",
                        to="visits.visit",
                    ),
                ),
            ],
            options={
                "ordering": ["visit_id", "at", "id"],
                "constraints": [
                    models.UniqueConstraint(fields=("visit", "key"), name="adjustment_key_once"),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("turns__isnull", True),
                            models.Q(("turns__gt", -1000000.0), ("turns__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="adjustment_turns_finite",
                        violation_error_message="turns must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("marks__isnull", True),
                            models.Q(("marks__gt", -1000000.0), ("marks__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="adjustment_marks_finite",
                        violation_error_message="marks must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("before_co2_pct__isnull", True),
                            models.Q(("before_co2_pct__gt", -1000000.0), ("before_co2_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="adjustment_before_co2_pct_finite",
                        violation_error_message="before_co2_pct must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("after_co2_pct__isnull", True),
                            models.Q(("after_co2_pct__gt", -1000000.0), ("after_co2_pct__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="adjustment_after_co2_pct_finite",
                        violation_error_message="after_co2_pct must be a finite number of absolute value under 1e6.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="VisitItem",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("key", models.CharField(max_length=64)),
                ("withdrawn_reason", models.CharField(blank=True, max_length=200)),
                ("code", models.CharField(max_length=60)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("done", "done"),
                            ("not_done", "not done"),
                            ("not_applicable", "not applicable"),
                        ],
                        max_length=14,
                    ),
                ),
                ("number", models.FloatField(blank=True, null=True)),
                ("unit", models.CharField(blank=True, max_length=20)),
                ("choice", models.CharField(blank=True, max_length=60)),
                ("reason", models.CharField(blank=True, max_length=400)),
                ("at", models.DateTimeField(blank=True, null=True)),
                (
                    "visit",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="%(class)ss",
                        to="visits.visit",
                    ),
                ),
            ],
            options={
                "ordering": ["visit_id", "id"],
                "constraints": [
                    models.UniqueConstraint(fields=("visit", "key"), name="visit_item_key_once"),
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ["done", "not_done", "not_applicable"])),
                        name="item_state",
                        violation_error_message="state is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("number__isnull", True),
                            models.Q(("number__gt", -1000000.0), ("number__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="item_number_finite",
                        violation_error_message="number must be a finite number of absolute value under 1e6.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="VisitRecord",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("revision", models.PositiveIntegerField()),
                ("current", models.BooleanField(default=True)),
                ("at", models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                ("reason", models.CharField(blank=True, max_length=400)),
                (
                    "document",
                    models.BinaryField(help_text="Compressed JSON: members and rows, each with its device."),
                ),
                (
                    "answers",
                    models.BinaryField(
                        help_text="Compressed JSON: per device its last save and what it was answered."
                    ),
                ),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "corrects",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="visits.visitrecord",
                    ),
                ),
                (
                    "visit",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="records", to="visits.visit"
                    ),
                ),
            ],
            options={
                "ordering": ["visit_id", "revision"],
                "constraints": [
                    models.UniqueConstraint(fields=("visit", "revision"), name="visit_record_once"),
                    models.UniqueConstraint(
                        condition=models.Q(("current", True)),
                        fields=("visit",),
                        name="visit_record_one_current",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("corrects__isnull", True),
                            models.Q(("reason", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="correction_has_reason",
                        violation_error_message="A correction needs its reason.",
                    ),
                ],
            },
        ),
        migrations.AddIndex(
            model_name="attendance",
            index=models.Index(fields=["technician", "local_on"], name="visits_atte_technic_c9fcfc_idx"),
        ),
        migrations.AddIndex(
            model_name="visit",
            index=models.Index(fields=["appliance", "-opened_at"], name="visits_visi_applian_df7607_idx"),
        ),
        migrations.AddIndex(
            model_name="visit",
            index=models.Index(fields=["-opened_at", "-id"], name="visits_visi_opened__4b3e3b_idx"),
        ),
        migrations.AddIndex(
            model_name="visit",
            index=models.Index(fields=["technician", "-opened_at"], name="visits_visi_technic_7d533b_idx"),
        ),
        migrations.AddIndex(
            model_name="firingtest",
            index=models.Index(fields=["burner", "phase", "point"], name="visits_firi_burner__851e61_idx"),
        ),
        migrations.AddConstraint(
            model_name="firingtest",
            constraint=models.UniqueConstraint(fields=("visit", "key"), name="firing_test_key_once"),
        ),
        migrations.AddIndex(
            model_name="finding",
            index=models.Index(
                condition=models.Q(("holds", True), ("life", "open")),
                fields=["appliance"],
                name="finding_open",
            ),
        ),
    ]
