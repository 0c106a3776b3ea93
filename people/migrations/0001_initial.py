import django.contrib.auth.models
import django.contrib.auth.validators
import django.db.models.deletion
import django.db.models.functions.datetime
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [
        migrations.CreateModel(
            name="User",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("password", models.CharField(max_length=128, verbose_name="password")),
                ("last_login", models.DateTimeField(blank=True, null=True, verbose_name="last login")),
                (
                    "is_superuser",
                    models.BooleanField(
                        default=False,
                        help_text="Designates that this user has all permissions without explicitly assigning them.",
                        verbose_name="superuser status",
                    ),
                ),
                (
                    "username",
                    models.CharField(
                        error_messages={"unique": "A user with that username already exists."},
                        help_text="Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.",
                        max_length=150,
                        unique=True,
                        validators=[django.contrib.auth.validators.UnicodeUsernameValidator()],
                        verbose_name="username",
                    ),
                ),
                ("first_name", models.CharField(blank=True, max_length=150, verbose_name="first name")),
                ("last_name", models.CharField(blank=True, max_length=150, verbose_name="last name")),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="email address")),
                (
                    "is_staff",
                    models.BooleanField(
                        default=False,
                        help_text="Designates whether the user can log into this admin site.",
                        verbose_name="staff status",
                    ),
                ),
                (
                    "is_active",
                    models.BooleanField(
                        default=True,
                        help_text="Designates whether this user should be treated as active. Unselect this instead of deleting accounts.",
                        verbose_name="active",
                    ),
                ),
                (
                    "date_joined",
                    models.DateTimeField(default=django.utils.timezone.now, verbose_name="date joined"),
                ),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("office", "office"),
                            ("technician", "technician"),
                            ("manager", "manager"),
                            ("administrator", "administrator"),
                            ("contact", "customer's contact"),
                        ],
                        default="contact",
                        max_length=14,
                    ),
                ),
                (
                    "units",
                    models.CharField(
                        choices=[
                            ("si", "SI (°C, kW, mbar, m³/h)"),
                            ("us", "US customary (°F, MBH, in WC, ft³/h)"),
                        ],
                        default="si",
                        max_length=2,
                    ),
                ),
                (
                    "groups",
                    models.ManyToManyField(
                        blank=True,
                        help_text="The groups this user belongs to. A user will get all permissions granted to each of their groups.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.group",
                        verbose_name="groups",
                    ),
                ),
                (
                    "user_permissions",
                    models.ManyToManyField(
                        blank=True,
                        help_text="Specific permissions for this user.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.permission",
                        verbose_name="user permissions",
                    ),
                ),
            ],
            options={
                "verbose_name": "user",
                "verbose_name_plural": "users",
                "abstract": False,
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("role__in", ["office", "technician", "manager", "administrator", "contact"])
                        ),
                        name="user_role",
                        violation_error_message="role is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("units__in", ["si", "us"])),
                        name="user_units",
                        violation_error_message="units is not one of its known values.",
                    ),
                ],
            },
            managers=[
                ("objects", django.contrib.auth.models.UserManager()),
            ],
        ),
        migrations.CreateModel(
            name="DeviceToken",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=80)),
                ("digest", models.BinaryField(max_length=32, unique=True)),
                ("created_at", models.DateTimeField(db_default=django.db.models.functions.datetime.Now())),
                ("last_used_at", models.DateTimeField(null=True)),
                ("expires_at", models.DateTimeField()),
                ("revoked_at", models.DateTimeField(null=True)),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="device_tokens",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Technician",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("weekly_hours", models.FloatField(default=37.5)),
                ("home_latitude", models.FloatField(blank=True, null=True)),
                ("home_longitude", models.FloatField(blank=True, null=True)),
                ("away_from", models.DateField(blank=True, null=True)),
                ("away_until", models.DateField(blank=True, null=True)),
                (
                    "user",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="technician",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            ("weekly_hours__isnull", True),
                            models.Q(("weekly_hours__gte", 0), ("weekly_hours__lte", 80)),
                            _connector="OR",
                        ),
                        name="technician_weekly_hours",
                        violation_error_message="weekly_hours must lie between 0 and 80.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("home_latitude__isnull", True),
                            models.Q(("home_latitude__gte", -90), ("home_latitude__lte", 90)),
                            _connector="OR",
                        ),
                        name="technician_home_latitude",
                        violation_error_message="home_latitude must lie between -90 and 90.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("home_longitude__isnull", True),
                            models.Q(("home_longitude__gte", -180), ("home_longitude__lte", 180)),
                            _connector="OR",
                        ),
                        name="technician_home_longitude",
                        violation_error_message="home_longitude must lie between -180 and 180.",
                    ),
                ],
            },
        ),
        migrations.CreateModel(
            name="Licence",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "scheme",
                    models.CharField(help_text="Name of the national scheme that grants it.", max_length=80),
                ),
                ("number", models.CharField(max_length=60)),
                (
                    "work",
                    models.CharField(
                        choices=[
                            ("service", "service and recheck"),
                            ("commissioning", "commissioning as well"),
                        ],
                        default="service",
                        max_length=14,
                    ),
                ),
                (
                    "fuels",
                    models.CharField(
                        choices=[("natural_gas", "natural gas"), ("lpg", "LPG"), ("all", "all gases")],
                        default="all",
                        max_length=12,
                    ),
                ),
                (
                    "max_input_gross_kw",
                    models.FloatField(blank=True, help_text="Empty: no limit.", null=True),
                ),
                ("starts_on", models.DateField()),
                ("ends_on", models.DateField(blank=True, null=True)),
                (
                    "technician",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="licences",
                        to="people.technician",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("scheme", "number"), name="licence_number_once"),
                    models.CheckConstraint(
                        condition=models.Q(("work__in", ["service", "commissioning"])),
                        name="licence_work",
                        violation_error_message="work is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("fuels__in", ["natural_gas", "lpg", "all"])),
                        name="licence_fuels",
                        violation_error_message="fuels is not one of its known values.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("max_input_gross_kw__isnull", True),
                            models.Q(("max_input_gross_kw__gte", 0), ("max_input_gross_kw__lte", 100000)),
                            _connector="OR",
                        ),
                        name="licence_max_input",
                        violation_error_message="max_input_gross_kw must lie between 0 and 100000.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("ends_on__isnull", True),
                            ("ends_on__gte", models.F("starts_on")),
                            _connector="OR",
                        ),
                        name="licence_ends_after_start",
                        violation_error_message="A licence cannot end before it starts.",
                    ),
                ],
            },
        ),
    ]
