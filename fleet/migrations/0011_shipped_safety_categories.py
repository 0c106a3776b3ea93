"""Words for dangerous conditions, general and of two countries, as the product comes."""

from django.db import migrations

from fleet.reference import SAFETY_CATEGORIES, reference_read, safety_categories_ship


def ship(apps, schema_editor):
    safety_categories_ship(SAFETY_CATEGORIES, apps.get_model("fleet", "SafetyCategory"))


def withdraw(apps, schema_editor):
    rows = apps.get_model("fleet", "SafetyCategory").objects
    for row in reference_read(SAFETY_CATEGORIES)["category"]:
        rows.filter(country=row.get("country", ""), code=row["code"]).delete()


class Migration(migrations.Migration):
    dependencies = [("fleet", "0010_safety_categories")]

    operations = [migrations.RunPython(ship, withdraw)]
