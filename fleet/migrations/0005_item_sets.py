import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0004_supplied_gas"),
    ]

    operations = [
        migrations.CreateModel(
            name="ItemSet",
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
                        blank=True,
                        choices=[("boiler", "boiler"), ("water_heater", "water heater")],
                        help_text="Empty: every kind.",
                        max_length=12,
                    ),
                ),
                (
                    "country",
                    models.CharField(blank=True, help_text="ISO 3166-1; empty: everywhere.", max_length=2),
                ),
                ("in_force_on", models.DateField()),
                (
                    "changed_at",
                    models.DateTimeField(auto_now=True, help_text="By this a process knows that it read it."),
                ),
                (
                    "model",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="item_sets",
                        to="fleet.appliancemodel",
                    ),
                ),
            ],
            options={
                "ordering": ["country", "kind", "in_force_on", "id"],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("model__isnull", True)),
                        fields=("kind", "country", "in_force_on"),
                        name="item_set_once_per_kind",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("model__isnull", False)),
                        fields=("kind", "country", "in_force_on", "model"),
                        name="item_set_once_per_model",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("kind__in", ["", "boiler", "water_heater"])),
                        name="item_set_kind",
                        violation_error_message="kind is not one of its known values.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="ServiceItem",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("code", models.SlugField(help_text="Stable: answers are kept by it.", max_length=60)),
                (
                    "step",
                    models.CharField(
                        choices=[
                            ("arrive", "On arrival"),
                            ("settings", "Settings as they stand"),
                            ("as_found", "As found, case closed"),
                            ("isolate", "Isolate, prove, cool"),
                            ("inspect", "Inspect and clean"),
                            ("reassemble", "Reassemble and test for tightness"),
                            ("safety_devices", "Safety devices"),
                            ("firing", "Firing: high, low, high"),
                            ("seal", "Seal trims and test points"),
                            ("put_back", "Put back"),
                            ("running", "Running in normal control"),
                            ("close", "Before leaving"),
                        ],
                        max_length=14,
                    ),
                ),
                ("position", models.PositiveSmallIntegerField(help_text="Order inside the step.")),
                ("text", models.CharField(max_length=200)),
                (
                    "answer",
                    models.CharField(
                        choices=[("tick", "tick"), ("number", "number"), ("choice", "choice")],
                        default="tick",
                        max_length=6,
                    ),
                ),
                ("unit", models.CharField(blank=True, max_length=20)),
                ("low", models.FloatField(blank=True, null=True)),
                ("high", models.FloatField(blank=True, null=True)),
                (
                    "choices",
                    models.JSONField(
                        blank=True,
                        default=list,
                        help_text='Each {"code", "text", "means": good, advise or act}.',
                    ),
                ),
                (
                    "source",
                    models.CharField(
                        help_text="What the limits, or the item itself, rest on.", max_length=200
                    ),
                ),
                (
                    "mark",
                    models.CharField(
                        choices=[
                            ("read", "read in the source or a copy of it"),
                            ("memory", "from memory, to be verified"),
                            ("practice", "common practice, no source"),
                            ("maker", "the maker's figure"),
                            ("own", "the firm's or customer's own"),
                        ],
                        max_length=8,
                    ),
                ),
                (
                    "visit_kinds",
                    models.JSONField(blank=True, default=list, help_text="Empty: every kind of visit."),
                ),
                ("fuels", models.JSONField(blank=True, default=list, help_text="Slugs; empty: every fuel.")),
                ("condensing_only", models.BooleanField(default=False)),
                (
                    "required",
                    models.BooleanField(
                        default=True, help_text="Missed where it is not answered at closing."
                    ),
                ),
                ("asked", models.BooleanField(default=True, help_text="Off: this set leaves the item out.")),
                (
                    "opens",
                    models.CharField(
                        blank=True,
                        choices=[("gasway", "the gasway"), ("test_point", "a pressure test point")],
                        help_text="What holding gas is opened by doing it.",
                        max_length=10,
                    ),
                ),
                (
                    "proves_tight",
                    models.CharField(
                        blank=True,
                        choices=[("gasway", "the gasway"), ("test_point", "a pressure test point")],
                        help_text="What is proved tight by a good answer.",
                        max_length=10,
                    ),
                ),
                (
                    "safety_quantity",
                    models.CharField(
                        blank=True,
                        help_text="A number held against these safety limits rather than its own.",
                        max_length=16,
                    ),
                ),
                ("caution", models.CharField(blank=True, max_length=400)),
                (
                    "item_set",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="items", to="fleet.itemset"
                    ),
                ),
            ],
            options={
                "ordering": ["item_set_id", "step", "position", "id"],
                "constraints": [
                    models.UniqueConstraint(fields=("item_set", "code"), name="item_code_once_per_set"),
                    models.CheckConstraint(
                        condition=models.Q(
                            (
                                "step__in",
                                [
                                    "arrive",
                                    "settings",
                                    "as_found",
                                    "isolate",
                                    "inspect",
                                    "reassemble",
                                    "safety_devices",
                                    "firing",
                                    "seal",
                                    "put_back",
                                    "running",
                                    "close",
                                ],
                            )
                        ),
                        name="service_item_step",
                        violation_error_message="step is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("answer__in", ["tick", "number", "choice"])),
                        name="service_item_answer",
                        violation_error_message="answer is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("mark__in", ["read", "memory", "practice", "maker", "own"])),
                        name="service_item_mark",
                        violation_error_message="mark is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("opens__in", ["", "gasway", "test_point"])),
                        name="service_item_opens",
                        violation_error_message="opens is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("proves_tight__in", ["", "gasway", "test_point"])),
                        name="service_item_proves_tight",
                        violation_error_message="proves_tight is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("safety_quantity__in", ["", "ambient_co_ppm"])),
                        name="service_item_safety",
                        violation_error_message="safety_quantity is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("answer", "number"),
                            models.Q(("high__isnull", True), ("low__isnull", True), ("unit", "")),
                            _connector="OR",
                        ),
                        name="service_item_limits_of_a_number",
                        violation_error_message="Only a number has a unit and limits.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("low__isnull", True),
                            models.Q(("low__gte", -100000), ("low__lte", 100000)),
                            _connector="OR",
                        ),
                        name="service_item_low",
                        violation_error_message="low must lie between -100000 and 100000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("high__isnull", True),
                            models.Q(("high__gte", -100000), ("high__lte", 100000)),
                            _connector="OR",
                        ),
                        name="service_item_high",
                        violation_error_message="high must lie between -100000 and 100000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("low__isnull", True),
                            ("high__isnull", True),
                            ("low__lte", models.F("high")),
                            _connector="OR",
                        ),
                        name="service_item_limits",
                        violation_error_message="low must not be above high.",
                    ),
                ],
            },
        ),
    ]
