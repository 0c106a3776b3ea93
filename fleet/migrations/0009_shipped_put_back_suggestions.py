"""What is usually altered for a test, as the product comes; models' own rows win."""

from django.db import migrations

from fleet.reference import PUTTING_BACK, put_back_ship, reference_read


def ship(apps, schema_editor):
    put_back_ship(PUTTING_BACK, apps.get_model("fleet", "PutBackSuggestion"))


def withdraw(apps, schema_editor):
    codes = [row["code"] for row in reference_read(PUTTING_BACK)["suggestion"]]
    rows = apps.get_model("fleet", "PutBackSuggestion").objects
    rows.filter(code__in=codes, model__isnull=True).delete()


class Migration(migrations.Migration):
    dependencies = [("fleet", "0008_put_back_suggestions")]

    operations = [migrations.RunPython(ship, withdraw)]
