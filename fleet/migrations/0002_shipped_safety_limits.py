"""The limits that come with the product: where a country or customer has its own, that one wins."""

from datetime import date

from django.db import migrations

# In force before any record, so that imported history is judged by them too.
IN_FORCE_ON = date(2000, 1, 1)

ANSI = (
    "ANSI Z21.47-1998 and the Z21 series, vented appliances, 0.04 % air-free, as quoted in trade literature"
)
TB143 = "HHIC / Gas Safe Technical Bulletin 143: condensing boilers without a figure of the maker's"
NIOSH = (
    "NIOSH criteria document 1972, recommended exposure limit 35 ppm (time-weighted; here taken as reached)"
)
PRACTICE = "common practice, no source"

# quantity, level, value, country, source, mark
LIMITS = [
    ("co_air_free_ppm", "investigate", 200.0, "", f"{PRACTICE}: half of the level to make safe", "practice"),
    ("co_air_free_ppm", "make_safe", 400.0, "", f"{ANSI}; used where a country has none of its own", "read"),
    ("co_co2_ratio", "investigate", 0.0020, "", f"{PRACTICE}: half of the level to make safe", "practice"),
    ("co_co2_ratio", "make_safe", 0.0040, "", f"{TB143}; used where a country has none of its own", "read"),
    ("ambient_co_ppm", "investigate", 10.0, "", f"{PRACTICE}: clearly above outdoor air", "practice"),
    ("ambient_co_ppm", "make_safe", 35.0, "", NIOSH, "read"),
    ("co_ppm", "investigate", 175.0, "GB", f"{PRACTICE}: half of the level to make safe", "practice"),
    ("co_ppm", "make_safe", 350.0, "GB", f"{TB143}, CO no more than 350 ppm", "read"),
    ("co_co2_ratio", "investigate", 0.0020, "GB", f"{PRACTICE}: half of the level to make safe", "practice"),
    ("co_co2_ratio", "make_safe", 0.0040, "GB", f"{TB143}, CO/CO2 no more than 0.0040", "read"),
    ("co_air_free_ppm", "investigate", 100.0, "US", PRACTICE, "practice"),
    (
        "co_air_free_ppm",
        "make_safe",
        400.0,
        "US",
        "ANSI Z21.13 / CSA 4.9, boilers: 400 ppm air-free",
        "memory",
    ),
]


def ship(apps, schema_editor):
    limit = apps.get_model("fleet", "SafetyLimit")
    limit.objects.using(schema_editor.connection.alias).bulk_create(
        [
            limit(
                quantity=quantity,
                level=level,
                value=value,
                country=country,
                source=source,
                mark=mark,
                in_force_on=IN_FORCE_ON,
            )
            for quantity, level, value, country, source, mark in LIMITS
        ],
        ignore_conflicts=True,
    )


def withdraw(apps, schema_editor):
    limit = apps.get_model("fleet", "SafetyLimit")
    shipped = limit.objects.using(schema_editor.connection.alias).filter(
        in_force_on=IN_FORCE_ON, customer__isnull=True
    )
    for quantity, level, _, country, source, _ in LIMITS:
        shipped.filter(quantity=quantity, level=level, country=country, source=source).delete()


class Migration(migrations.Migration):
    dependencies = [("fleet", "0001_initial")]

    operations = [migrations.RunPython(ship, withdraw)]
