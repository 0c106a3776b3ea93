import django.db.models.deletion
import django.db.models.functions.datetime
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("fleet", "0002_shipped_safety_limits"),
        ("people", "__first__"),
    ]

    operations = [
        migrations.CreateModel(
            name="SafetyEvent",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("in_service", "in service"),
                            ("with_advice", "in service with advice"),
                            ("left_off", "left off"),
                            ("isolated", "isolated and labelled"),
                            ("returned", "returned to service"),
                        ],
                        max_length=12,
                    ),
                ),
                ("at", models.DateTimeField(help_text="When it was done.")),
                ("told", models.CharField(blank=True, help_text="Who was told at the site.", max_length=120)),
                (
                    "answer",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("acknowledged", "acknowledged"),
                            ("refused", "refused to accept it"),
                            ("not_reached", "nobody could be reached"),
                        ],
                        max_length=12,
                    ),
                ),
                ("reason", models.CharField(max_length=400)),
                ("visit_uuid", models.UUIDField(blank=True, null=True)),
                ("noted_at", models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
            ],
            options={
                "ordering": ["appliance_id", "id"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("state__in", ["in_service", "with_advice", "left_off", "isolated", "returned"])
                        ),
                        name="safety_event_state",
                        violation_error_message="state is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("answer__in", ["", "acknowledged", "refused", "not_reached"])),
                        name="safety_event_answer",
                        violation_error_message="answer is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("answer__in", ["acknowledged", "refused"]), _negated=True),
                            models.Q(("told", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="safety_event_answer_of_someone",
                        violation_error_message="An acknowledgement or refusal names who gave it.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("reason", ""), _negated=True),
                        name="safety_event_reason",
                        violation_error_message="A safety state needs its reason.",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("visit_uuid__isnull", False)),
                        fields=("visit_uuid", "state"),
                        name="safety_event_once_per_visit",
                    ),
                ],
            },
        ),
        migrations.AddIndex(
            model_name="appliance",
            index=models.Index(fields=["safety_state"], name="appliance_by_safety_state"),
        ),
        migrations.AddField(
            model_name="safetyevent",
            name="appliance",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="safety_events",
                to="fleet.appliance",
            ),
        ),
        migrations.AddField(
            model_name="safetyevent",
            name="by",
            field=models.ForeignKey(
                blank=True,
                help_text="Empty: a visit without a known technician.",
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
    ]
