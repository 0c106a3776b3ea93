import django.db.models.deletion
import django.db.models.functions.datetime
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0002_shipped_safety_limits"),
        ("people", "__first__"),
        ("visits", "0002_sustained_and_peak_co"),
    ]

    operations = [
        migrations.CreateModel(
            name="FindingLife",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "life",
                    models.CharField(
                        choices=[
                            ("open", "open"),
                            ("quoted", "quoted"),
                            ("accepted", "accepted"),
                            ("declined", "declined"),
                            ("done", "done"),
                        ],
                        max_length=8,
                    ),
                ),
                ("at", models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                (
                    "said_by",
                    models.CharField(
                        blank=True, help_text="Who accepted or declined for the customer.", max_length=120
                    ),
                ),
                ("due_on", models.DateField(blank=True, null=True)),
                ("note", models.CharField(blank=True, max_length=400)),
            ],
            options={
                "ordering": ["finding_id", "id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("life__in", ["open", "quoted", "accepted", "declined", "done"])),
                        name="finding_step_life",
                        violation_error_message="life is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("life", "declined"), _negated=True),
                            models.Q(("said_by", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="finding_declined_by_someone",
                        violation_error_message="A declined finding names who declined it.",
                    ),
                ],
            },
        ),
        migrations.RemoveConstraint(
            model_name="finding",
            name="finding_life",
        ),
        migrations.RemoveIndex(
            model_name="finding",
            name="finding_open",
        ),
        migrations.AddField(
            model_name="finding",
            name="done_on_visit",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="visits.visit",
            ),
        ),
        migrations.AddField(
            model_name="finding",
            name="due_on",
            field=models.DateField(blank=True, help_text="By when it is to be seen to.", null=True),
        ),
        migrations.AddField(
            model_name="finding",
            name="owner",
            field=models.ForeignKey(
                blank=True,
                db_index=False,
                help_text="Who sees to it.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AlterField(
            model_name="finding",
            name="life",
            field=models.CharField(
                choices=[
                    ("open", "open"),
                    ("quoted", "quoted"),
                    ("accepted", "accepted"),
                    ("declined", "declined"),
                    ("done", "done"),
                ],
                default="open",
                max_length=8,
            ),
        ),
        migrations.AddIndex(
            model_name="finding",
            index=models.Index(fields=["life", "severity", "-id"], name="finding_life_severity"),
        ),
        migrations.AddConstraint(
            model_name="finding",
            constraint=models.CheckConstraint(
                condition=models.Q(("life__in", ["open", "quoted", "accepted", "declined", "done"])),
                name="finding_life",
                violation_error_message="life is not one of its known values.",
            ),
        ),
        migrations.AddField(
            model_name="findinglife",
            name="by",
            field=models.ForeignKey(
                blank=True,
                help_text="Empty: a later visit ended it.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="findinglife",
            name="finding",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.CASCADE, related_name="steps", to="visits.finding"
            ),
        ),
        migrations.AddField(
            model_name="findinglife",
            name="owner",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="findinglife",
            name="visit",
            field=models.ForeignKey(
                blank=True,
                help_text="Done on it.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="visits.visit",
            ),
        ),
        migrations.AddConstraint(
            model_name="findinglife",
            constraint=models.CheckConstraint(
                condition=models.Q(("by__isnull", False), ("visit__isnull", False), _connector="OR"),
                name="finding_step_by_someone",
                violation_error_message="A step is taken by a person or on a visit.",
            ),
        ),
    ]
