import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0006_shipped_gas_annual"),
    ]

    operations = [
        migrations.CreateModel(
            name="TurnSensitivity",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "unit",
                    models.CharField(
                        choices=[("turn", "turn"), ("mark", "mark")], default="turn", max_length=4
                    ),
                ),
                (
                    "effect",
                    models.FloatField(
                        help_text="Change of ln K (throttle) or w (offset) per clockwise unit."
                    ),
                ),
                (
                    "effect_low",
                    models.FloatField(help_text="Lower end of the 95 % interval of the model's effect."),
                ),
                ("effect_high", models.FloatField(help_text="Upper end of the same.")),
                ("effect_u", models.FloatField(help_text="Standard uncertainty of the model's effect.")),
                ("spread", models.FloatField(help_text="Standard deviation of the effect between burners.")),
                (
                    "scatter",
                    models.FloatField(
                        help_text="Standard deviation of the effect between moves of one burner."
                    ),
                ),
                ("moves", models.PositiveIntegerField(help_text="Moves that it rests on.")),
                ("burners", models.PositiveIntegerField(help_text="Burners that these moves were made on.")),
                ("set_aside", models.PositiveIntegerField(help_text="Moves left out as clumsy entries.")),
                (
                    "why_way_only",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("few_moves", "too few moves recorded"),
                            ("few_burners", "moves of too few burners"),
                            ("wide", "burners differ too much"),
                            ("against_file", "moves went against the direction on file"),
                        ],
                        help_text="Why advice names the way and no amount; empty where an amount is given.",
                        max_length=12,
                    ),
                ),
                ("learnt_at", models.DateTimeField()),
            ],
            options={
                "verbose_name_plural": "turn sensitivities",
                "ordering": ["trim_id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("unit__in", ["turn", "mark"])),
                        name="sensitivity_unit",
                        violation_error_message="unit is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("why_way_only__in", ["", "few_moves", "few_burners", "wide", "against_file"])
                        ),
                        name="sensitivity_why",
                        violation_error_message="why_way_only is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("effect_low__isnull", True),
                            ("effect_high__isnull", True),
                            ("effect_low__lte", models.F("effect_high")),
                            _connector="OR",
                        ),
                        name="sensitivity_order",
                        violation_error_message="effect_low must not be above effect_high.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("effect__isnull", True),
                            models.Q(("effect__gt", -1000000.0), ("effect__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="sensitivity_effect_finite",
                        violation_error_message="effect must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("effect_low__isnull", True),
                            models.Q(("effect_low__gt", -1000000.0), ("effect_low__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="sensitivity_effect_low_finite",
                        violation_error_message="effect_low must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("effect_high__isnull", True),
                            models.Q(("effect_high__gt", -1000000.0), ("effect_high__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="sensitivity_effect_high_finite",
                        violation_error_message="effect_high must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("effect_u__isnull", True),
                            models.Q(("effect_u__gt", -1000000.0), ("effect_u__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="sensitivity_effect_u_finite",
                        violation_error_message="effect_u must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("spread__isnull", True),
                            models.Q(("spread__gt", -1000000.0), ("spread__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="sensitivity_spread_finite",
                        violation_error_message="spread must be a finite number of absolute value under 1e6.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("scatter__isnull", True),
                            models.Q(("scatter__gt", -1000000.0), ("scatter__lt", 1000000.0)),
                            _connector="OR",
                        ),
                        name="sensitivity_scatter_finite",
                        violation_error_message="scatter must be a finite number of absolute value under 1e6.",
                    ),
                ],
            },
        ),
        migrations.AddField(
            model_name="modeltrim",
            name="max_step_marks",
            field=models.FloatField(
                blank=True,
                help_text="Where the trim has a scale. Empty: amounts in marks are not advised.",
                null=True,
            ),
        ),
        migrations.AddConstraint(
            model_name="modeltrim",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("max_step_marks__isnull", True),
                    models.Q(("max_step_marks__gte", 0.1), ("max_step_marks__lte", 1000)),
                    _connector="OR",
                ),
                name="trim_max_step_marks",
                violation_error_message="max_step_marks must lie between 0.1 and 1000.",
            ),
        ),
        migrations.AddField(
            model_name="turnsensitivity",
            name="trim",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.CASCADE, related_name="sensitivity", to="fleet.modeltrim"
            ),
        ),
    ]
