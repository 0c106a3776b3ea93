"""The gas annual that comes with the product: where a country or model has its own items, those win."""

from django.db import migrations

from fleet.reference import GAS_ANNUAL, item_sets_ship, reference_read


def ship(apps, schema_editor):
    item_sets_ship(GAS_ANNUAL, apps.get_model("fleet", "ItemSet"), apps.get_model("fleet", "ServiceItem"))


def withdraw(apps, schema_editor):
    held = apps.get_model("fleet", "ItemSet")
    names = [table["name"] for table in reference_read(GAS_ANNUAL)["set"]]
    held.objects.filter(name__in=names, model__isnull=True).delete()


class Migration(migrations.Migration):
    dependencies = [("fleet", "0005_item_sets")]

    operations = [migrations.RunPython(ship, withdraw)]
